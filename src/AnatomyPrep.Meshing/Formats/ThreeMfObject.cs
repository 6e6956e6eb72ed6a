using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Names an object: ids are unique within a model part only.</summary>
internal readonly record struct ThreeMfReference(string Part, int Id);

/// <summary>An object of a 3MF model: a mesh, or components, each an object with a map.</summary>
/// <param name="isSurface">False for supports and objects that are not for printing.</param>
internal sealed class ThreeMfObject(bool isSurface)
{
    internal bool IsSurface { get; } = isSurface;

    internal List<double> Positions { get; } = [];

    internal List<int> Triangles { get; } = [];

    /// <summary>One a triangle, or empty.</summary>
    internal List<Origin> Origins { get; } = [];

    internal List<(ThreeMfReference Reference, Affine3 Map)> Components { get; } = [];

    /// <summary>What the components refer to, once all parts are read.</summary>
    internal List<(ThreeMfObject Object, Affine3 Map)> Children { get; } = [];

    internal int VertexCount => Positions.Count / 3;

    internal int TriangleCount => Triangles.Count / 3;

    /// <summary>Levels of components below; null until counted.</summary>
    internal int? Depth { get; set; }

    /// <summary>Of this object and all copies below it; in double, which cannot overflow here.</summary>
    internal double TrianglesWithin { get; set; }

    internal double VerticesWithin { get; set; }
}
