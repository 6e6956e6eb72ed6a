using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>Which bound of a region keeps a point out of it.</summary>
internal enum Bound : byte
{
    /// <summary>None: the point lies in the region.</summary>
    Inside = 0,

    /// <summary>Its coordinate is below the lower level.</summary>
    Low = 1,

    /// <summary>Its coordinate is above the upper level.</summary>
    High = 2,

    /// <summary>It lies beyond the rim of the sheet, or where the coordinate jumps.</summary>
    Rim = 3,
}

/// <summary>What a field says at one point.</summary>
/// <param name="CoordinateMm">Changes by no more than the way gone, except where <paramref name="Bound"/> says rim or the sheet's side changes.</param>
/// <param name="SafeMm">No boundary of the region is nearer than this; 0 where that is not known.</param>
internal readonly record struct FieldSample(double CoordinateMm, Bound Bound, double SafeMm);

/// <summary>What was nearest to the last point asked. Gives the same answer sooner when the next one is near it.</summary>
internal struct Neighbours()
{
    /// <summary>On the given surface.</summary>
    public SurfacePoint Surface = SurfacePoint.None;

    /// <summary>On the thicker wall of <see cref="Rounding"/>.</summary>
    public SurfacePoint Thicker = SurfacePoint.None;
}

/// <summary>A region of space between two levels of a distance, whose boundary is looked for near a surface. Points are in the surface's own frame.</summary>
/// <remarks>
/// The coordinate is the signed distance to the surface, with its valleys rounded where that is wanted (<see cref="Rounding"/>).
/// </remarks>
internal abstract class BandField(SheetSide surface, Rounding? rounding)
{
    // Far below what a printer or a float32 position can show, far above the rounding of the search.
    private const double ToleranceMm = 2e-5;
    private const int MostSteps = 4;

    protected SheetSide Surface => surface;

    protected double RoundingMm => rounding?.RadiusMm ?? 0;

    /// <param name="rimMm">Nothing that <see cref="RimMm"/> speaks of is nearer than this; 0 where that is not known.</param>
    public abstract FieldSample At(in Vec3 p, double rimMm, ref Neighbours near);

    /// <summary>Distance within which no point of the region's rim lies; infinite where there is none.</summary>
    public abstract double RimMm(in Vec3 p);

    /// <summary>The coordinate at which a bound lies.</summary>
    public abstract double LevelMm(Bound bound);

    /// <summary>Whether points of this level are points of the given surface itself.</summary>
    public bool IsOnSurface(Bound bound) => bound is Bound.Low or Bound.High && LevelMm(bound) == 0;

    /// <summary>Moves a point that lies near a level exactly onto it, along the line to the nearest point.</summary>
    /// <remarks>One step arrives, except near places with two nearest points.</remarks>
    /// <param name="withinMm">How far it may move.</param>
    /// <returns>False when the level is not reached within the distance; the point is then of no use.</returns>
    public bool TryProject(Bound bound, in Vec3 from, double withinMm, ref Neighbours near, out Vec3 onto)
    {
        var level = LevelMm(bound);
        onto = from;
        for (var step = 0; step < MostSteps; step++)
        {
            var s = surface.At(onto, ref near.Surface, out var beyond);
            if (level == 0)
            {
                onto = near.Surface.PositionMm;
                return (onto - from).Length <= withinMm;
            }

            if (beyond > ToleranceMm || !(s * level > 0))
                return false;
            var coordinate = Rounded(s, level, onto, ref near);
            if (Math.Abs(coordinate - level) <= ToleranceMm)
                return true;

            // Where rounding would go below the level itself, only by its tolerance, the level itself counts.
            onto = coordinate != s
                ? rounding!.Onto(onto, ref near.Thicker)
                : near.Surface.PositionMm + ((onto - near.Surface.PositionMm) * (level / s));
            if (!((onto - from).Length <= withinMm))
                return false;
        }

        return false;
    }

    /// <summary>Coordinate as seen from a level: the signed distance, or what rounding makes of it.</summary>
    protected double Rounded(double signedMm, double levelMm, in Vec3 p, ref Neighbours near)
    {
        if (rounding is null || !(signedMm * levelMm > 0))
            return signedMm;
        var rounded = rounding.CoordinateMm(Math.Abs(signedMm), Math.Abs(levelMm), p, ref near.Thicker);
        return signedMm < 0 ? -rounded : rounded;
    }
}
