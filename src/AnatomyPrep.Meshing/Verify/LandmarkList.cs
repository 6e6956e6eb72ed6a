using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>A named point where somebody put it on the images, LPS.</summary>
public sealed record Landmark(string Name, Vec3 AtMm);

/// <summary>Named points, and the distances and angles asked for between them.</summary>
/// <param name="Distances">Pairs of places in <paramref name="Points"/>.</param>
/// <param name="Angles">Triples of such places; the vertex stands in the middle.</param>
public sealed record LandmarkList(IReadOnlyList<Landmark> Points, IReadOnlyList<(int From, int To)> Distances, IReadOnlyList<(int From, int At, int To)> Angles);
