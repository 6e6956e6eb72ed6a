using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>A solid moved and turned; distances and measures are those of the solid.</summary>
public sealed class Placed : Solid
{
    private readonly Solid _solid;
    private readonly Affine3 _toPlace;

    /// <param name="toPlace">Rotation and translation only; a scale would spoil the distances.</param>
    public Placed(Solid solid, Affine3 toPlace)
    {
        var stretch = Math.Max(Deviation(toPlace.X, toPlace.X, 1), Math.Max(Deviation(toPlace.Y, toPlace.Y, 1), Deviation(toPlace.Z, toPlace.Z, 1)));
        var shear = Math.Max(Deviation(toPlace.X, toPlace.Y, 0), Math.Max(Deviation(toPlace.Y, toPlace.Z, 0), Deviation(toPlace.Z, toPlace.X, 0)));
        if (Math.Max(stretch, shear) > 1e-12)
            throw new ArgumentException("Only rotation and translation keep distances.", nameof(toPlace));
        (_solid, _toPlace) = (solid, toPlace);
        BoundsMm = MapBounds(solid.BoundsMm);

        static double Deviation(Vec3 a, Vec3 b, double expected) => Math.Abs(Vec3.Dot(a, b) - expected);
    }

    public override Box3 BoundsMm { get; }

    public override double ThinnestMm => _solid.ThinnestMm;

    public override double DistanceMm(Vec3 pointMm) => _solid.DistanceMm(Back(pointMm));

    public override SurfaceMeasures? ClosedForm(double offsetMm) => _solid.ClosedForm(offsetMm);

    public override double DistanceMm(Vec3 centerMm, double radiusMm, out Solid part)
    {
        var distance = _solid.DistanceMm(Back(centerMm), radiusMm, out var inner);
        part = ReferenceEquals(inner, _solid) ? this : new Placed(inner, _toPlace);
        return distance;
    }

    private Vec3 Back(Vec3 p)
    {
        var q = p - _toPlace.Translation;
        return new Vec3(Vec3.Dot(_toPlace.X, q), Vec3.Dot(_toPlace.Y, q), Vec3.Dot(_toPlace.Z, q));
    }

    private Box3 MapBounds(Box3 box)
    {
        if (!box.Min.IsFinite || !box.Max.IsFinite)
            return box;
        var mapped = Box3.Empty;
        for (var corner = 0; corner < 8; corner++)
            mapped = mapped.Including(_toPlace.Map(new Vec3(
                (corner & 1) == 0 ? box.Min.X : box.Max.X,
                (corner & 2) == 0 ? box.Min.Y : box.Max.Y,
                (corner & 4) == 0 ? box.Min.Z : box.Max.Z)));
        return mapped;
    }
}
