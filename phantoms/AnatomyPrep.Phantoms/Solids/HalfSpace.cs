using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>Everything behind a plane; unbounded, so it serves to cut other solids or as a layer that leaves the picture.</summary>
public sealed class HalfSpace(Vec3 throughMm, Vec3 outwardNormal) : Solid
{
    private readonly Vec3 _normal = outwardNormal.Normalized();

    public override Box3 BoundsMm { get; } = new(-Box3.Empty.Min, -Box3.Empty.Max);

    public override double DistanceMm(Vec3 pointMm) => Vec3.Dot(pointMm - throughMm, _normal);
}
