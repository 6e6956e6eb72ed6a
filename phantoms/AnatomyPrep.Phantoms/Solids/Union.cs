using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Solids;

/// <summary>Everything in at least one of the solids; bounded inside where they overlap, exact outside.</summary>
public sealed class Union : Solid
{
    private readonly Solid[] _parts;

    public Union(params IReadOnlyList<Solid> parts)
    {
        if (parts.Count == 0)
            throw new ArgumentException("A union has at least one part.", nameof(parts));
        _parts = [.. parts];
        BoundsMm = _parts.Aggregate(Box3.Empty, (box, part) => box.Including(part.BoundsMm));
    }

    public override Box3 BoundsMm { get; }

    public override double DistanceMm(Vec3 pointMm)
    {
        var nearest = double.PositiveInfinity;
        foreach (var part in _parts)
            nearest = Math.Min(nearest, part.DistanceMm(pointMm));
        return nearest;
    }

    public override double DistanceMm(Vec3 centerMm, double radiusMm, out Solid part)
    {
        var near = new List<(double Distance, Solid Part)>(_parts.Length);
        var nearest = double.PositiveInfinity;
        // Within the ball a distance changes by at most the radius, so what is 2 radii further away is nowhere the nearest.
        var margin = (2 * radiusMm) + Lipschitz.RoundingMm;
        foreach (var one in _parts)
        {
            var distance = one.DistanceMm(centerMm, radiusMm, out var inner);
            nearest = Math.Min(nearest, distance);
            if (distance <= nearest + margin)
                near.Add((distance, inner));
        }

        near.RemoveAll(one => one.Distance > nearest + margin);
        part = near.Count == 1 ? near[0].Part : new Union([.. near.Select(one => one.Part)]);
        return nearest;
    }
}
