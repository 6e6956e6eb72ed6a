using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Shell;

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

/// <summary>A region of space between two levels of a distance, whose boundary is looked for near a surface. Points are in the surface's own frame.</summary>
internal abstract class BandField
{
    /// <param name="rimMm">Nothing that <see cref="RimMm"/> speaks of is nearer than this; 0 where that is not known.</param>
    /// <param name="near">Nearest point of the last point asked; gives the same answer sooner, and is replaced.</param>
    public abstract FieldSample At(in Vec3 p, double rimMm, ref SurfacePoint near);

    /// <summary>Distance within which no point of the region's rim lies; infinite where there is none.</summary>
    public abstract double RimMm(in Vec3 p);

    /// <summary>The coordinate at which a bound lies.</summary>
    public abstract double LevelMm(Bound bound);

    /// <summary>Moves a point that lies near a level exactly onto it.</summary>
    /// <param name="withinMm">How far it may move.</param>
    /// <returns>False when the level is not reached within the distance; the point is then of no use.</returns>
    public abstract bool TryProject(Bound bound, in Vec3 from, double withinMm, ref SurfacePoint near, out Vec3 onto);

    /// <summary>Whether points of this level are points of the given surface itself.</summary>
    public bool IsOnSurface(Bound bound) => bound is Bound.Low or Bound.High && LevelMm(bound) == 0;
}
