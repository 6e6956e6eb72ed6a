using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Where a plane meets a surface: points one after another, in patient millimetres, all exactly in the plane.</summary>
/// <param name="SegmentOrigins">Origin of the triangle behind each segment n, from point n to n + 1; a closed curve has one more, back to point 0.</param>
public sealed record SectionCurve(IReadOnlyList<Vec3> PointsMm, IReadOnlyList<Origin> SegmentOrigins, bool Closed);
