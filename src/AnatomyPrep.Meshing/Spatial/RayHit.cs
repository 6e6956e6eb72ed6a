namespace AnatomyPrep.Meshing.Spatial;

/// <summary>Where a ray passes through a surface.</summary>
/// <param name="Entering">The ray comes from the side the triangle faces, so it goes into the solid.</param>
public readonly record struct RayHit(int Triangle, double DistanceMm, bool Entering);
