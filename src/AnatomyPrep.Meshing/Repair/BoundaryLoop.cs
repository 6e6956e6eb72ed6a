using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Repair;

/// <summary>One rim of an open surface.</summary>
/// <param name="Id">Number of the loop in this mesh: loops are ordered by their smallest half-edge.</param>
/// <param name="HalfEdges">Border half-edges h = 3t + c in the order in which the triangles run along them; the first is the smallest.</param>
/// <param name="Vertices">Start vertex of each half-edge; each vertex once.</param>
/// <param name="IsClosed">False for a chain that breaks off at a non-manifold or turned place and cannot be filled.</param>
/// <param name="FlatAreaMm2">Area of the flat fill: the rim's vector area, |Σ p × p'| / 2; exact for a plane rim, the largest shadow otherwise.</param>
/// <param name="DiameterMm">Largest distance between two rim vertices; for more than 2,048 vertices a lower bound by repeated farthest-point search.</param>
/// <param name="CenterMm">Centre of mass of the rim as a wire.</param>
/// <param name="IsOuterBorder">See <see cref="BoundaryLoops"/>.</param>
/// <param name="Piece">Number of the piece it belongs to, pieces ordered by first triangle.</param>
public sealed record BoundaryLoop(
    int Id,
    IReadOnlyList<int> HalfEdges,
    IReadOnlyList<int> Vertices,
    bool IsClosed,
    double LengthMm,
    double FlatAreaMm2,
    double DiameterMm,
    Vec3 CenterMm,
    bool IsOuterBorder,
    int Piece)
{
    public int EdgeCount => HalfEdges.Count;
}
