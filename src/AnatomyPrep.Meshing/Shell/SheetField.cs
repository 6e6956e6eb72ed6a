using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shell;

/// <summary>The wall along an open sheet: points whose signed distance lies between two levels, and not beyond the rim.</summary>
internal sealed class SheetField(SheetSide sheet, double lowMm, double highMm) : BandField
{
    // Far below what a printer or a float32 position can show, far above the rounding of the search.
    internal const double ToleranceMm = 2e-5;
    private const int MostSteps = 4;

    private readonly double _reachMm = Math.Max(Math.Abs(lowMm), Math.Abs(highMm));

    public override double LevelMm(Bound bound) => bound == Bound.Low ? lowMm : highMm;

    // What is nearest to a rim point lies on the border, no farther from it than the wall reaches.
    public override double RimMm(in Vec3 p) => sheet.HazardMm(p) - _reachMm;

    public override FieldSample At(in Vec3 p, double rimMm, ref SurfacePoint near)
    {
        var s = sheet.At(p, ref near, out var beyond);

        // Away from the rim the coordinate changes by no more than the way gone, until the nearest point changes side: docs/methods/shell.md.
        var toLevel = Math.Min(Math.Abs(s - lowMm), Math.Abs(s - highMm));
        var safe = Math.Max(near.DistanceMm - _reachMm, Math.Min(toLevel, rimMm));
        return new(s, s < lowMm ? Bound.Low : s > highMm ? Bound.High : beyond > 0 ? Bound.Rim : Bound.Inside, safe);
    }

    public override bool TryProject(Bound bound, in Vec3 from, double withinMm, ref SurfacePoint near, out Vec3 onto) =>
        TryProject(sheet, LevelMm(bound), from, withinMm, ref near, out onto);

    /// <summary>Along the line to the nearest point; one step arrives, except near places with two nearest points.</summary>
    internal static bool TryProject(SheetSide sheet, double levelMm, in Vec3 from, double withinMm, ref SurfacePoint near, out Vec3 onto)
    {
        onto = from;
        for (var step = 0; step < MostSteps; step++)
        {
            var s = sheet.At(onto, ref near, out var beyond);
            if (levelMm == 0)
            {
                onto = near.PositionMm;
                return (onto - from).Length <= withinMm;
            }

            if (beyond > ToleranceMm || !(s * levelMm > 0))
                return false;
            if (Math.Abs(s - levelMm) <= ToleranceMm)
                return true;
            onto = near.PositionMm + ((onto - near.PositionMm) * (levelMm / s));
            if (!((onto - from).Length <= withinMm))
                return false;
        }

        return false;
    }
}
