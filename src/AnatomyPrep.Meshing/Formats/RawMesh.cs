using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>What a reader found: numbers as they stand in the file, before units, welding and findings about size.</summary>
internal sealed class RawMesh
{
    internal RawMesh(string format, float[] positions, int[] triangles, List<Finding> findings)
    {
        Format = format;
        Singles = positions;
        Triangles = triangles;
        Findings = findings;
    }

    internal RawMesh(string format, double[] positions, int[] triangles, List<Finding> findings)
    {
        Format = format;
        Doubles = positions;
        Triangles = triangles;
        Findings = findings;
    }

    internal string Format { get; }

    /// <summary>Positions of a format that holds float32; else null.</summary>
    internal float[]? Singles { get; }

    /// <summary>Positions of a format that can hold more; else null.</summary>
    internal double[]? Doubles { get; }

    internal int[] Triangles { get; }

    internal List<Finding> Findings { get; }

    internal Origin[]? Origins { get; init; }

    /// <summary>Vertices the format repeats for every triangle, joined while reading.</summary>
    internal int WeldedVertices { get; init; }

    internal LengthUnit? DeclaredUnit { get; init; }

    internal IReadOnlyDictionary<string, string> Metadata { get; init; } = new Dictionary<string, string>();

    internal static BadInputException NoTriangles(ByteSource source) =>
        source.Bad("triangle count", "0", "Give a file that holds a surface; points alone are read as a point cloud.");

    internal static BadInputException NotFinite(ByteSource source, string where) =>
        source.Bad(where, "a coordinate that is not a finite float32 number", "Export the file again from the program that made it.");

    internal static Finding ExtraBytes(long count) => new(
        FindingCodes.ExtraBytes, Severity.Caution,
        FormattableString.Invariant($"{count} bytes follow the last triangle the file announces; they were not read."),
        "Look whether a part of the model is missing; if not, write the file again.");

    /// <summary>0, 1, 2 ... for triangles that share no vertices.</summary>
    internal static int[] Successive(int count)
    {
        var indices = GC.AllocateUninitializedArray<int>(count);
        for (var i = 0; i < count; i++)
            indices[i] = i;
        return indices;
    }
}
