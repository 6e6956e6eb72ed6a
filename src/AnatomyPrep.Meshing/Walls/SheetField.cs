using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>The wall along an open sheet: points whose coordinate lies between two levels, and not beyond the rim.</summary>
internal sealed class SheetField(SheetSide sheet, double lowMm, double highMm, Rounding? rounding = null) : BandField(sheet, rounding)
{
    private readonly double _reachMm = Math.Max(Math.Abs(lowMm), Math.Abs(highMm)) + (rounding?.RadiusMm ?? 0);

    public override double LevelMm(Bound bound) => bound == Bound.Low ? lowMm : highMm;

    // What is nearest to a rim point lies on the border, no farther from it than the wall reaches.
    public override double RimMm(in Vec3 p) => Surface.HazardMm(p) - _reachMm;

    public override FieldSample At(in Vec3 p, double rimMm, ref Neighbours near)
    {
        var s = Surface.At(p, ref near.Surface, out var beyond);
        s = Rounded(s, s < 0 ? lowMm : highMm, p, ref near);

        // Away from the rim the coordinate changes by no more than the way gone, until the nearest point changes side: docs/methods/shell.md.
        var toLevel = Math.Min(Math.Abs(s - lowMm), Math.Abs(s - highMm));
        var safe = Math.Max(near.Surface.DistanceMm - _reachMm, Math.Min(toLevel, rimMm));
        return new(s, s < lowMm ? Bound.Low : s > highMm ? Bound.High : beyond > 0 ? Bound.Rim : Bound.Inside, safe);
    }
}
