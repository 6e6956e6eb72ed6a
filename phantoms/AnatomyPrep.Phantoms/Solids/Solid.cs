using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>An analytic body given by a signed distance in mm, negative inside.</summary>
/// <remarks>
/// Every distance is 1-Lipschitz: it never changes faster than the point moves. So |distance| bounds the way to the
/// boundary from below, which is what lets a sampler skip whole tiles without changing one value. Solids without
/// "bounded" in their summary give the exact Euclidean distance, and then the surface at distance d is the exact
/// parallel surface.
/// </remarks>
public abstract class Solid
{
    /// <summary>Box around the solid; infinite where the solid is.</summary>
    public abstract Box3 BoundsMm { get; }

    /// <summary>
    /// Where the solid is a plate, its thickness in mm: an edge wider than that cannot rise to the full value, and is
    /// capped at thickness / edge width, which is what a box-shaped blur does to a plate.
    /// </summary>
    public virtual double ThinnestMm => double.PositiveInfinity;

    public abstract double DistanceMm(Vec3 pointMm);

    /// <summary>Measures of {distance ≤ offset}: closed form, or null where this solid has none at that offset.</summary>
    public virtual SurfaceMeasures? ClosedForm(double offsetMm) => null;

    /// <summary>The distance at a ball's centre, and what matters of this solid within the ball.</summary>
    /// <param name="part">Bit for bit the same distances inside the ball, cheaper where parts of this solid cannot matter there.</param>
    public virtual double DistanceMm(Vec3 centerMm, double radiusMm, out Solid part)
    {
        part = this;
        return DistanceMm(centerMm);
    }

    public Solid MovedBy(Vec3 byMm) => new Placed(this, Affine3.Translate(byMm));

    /// <summary>Turned about an axis through the origin, right-handed.</summary>
    public Solid Turned(Vec3 axis, double angleDeg) => new Placed(this, Affine3.Rotate(axis, angleDeg * (Math.PI / 180)));
}
