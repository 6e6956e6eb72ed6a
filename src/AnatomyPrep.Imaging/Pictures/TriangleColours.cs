using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>A colour for every triangle by its class, instead of by its origin.</summary>
/// <param name="ClassOf">One per triangle: its place in <paramref name="Classes"/>.</param>
/// <param name="Classes">Words for the legend, and colours.</param>
public sealed record TriangleColours(byte[] ClassOf, IReadOnlyList<(string Word, Rgb Colour)> Classes)
{
    // Cividis-like steps from blue to yellow that people with any common form of colour blindness tell apart (own choice).
    private static readonly Rgb[] s_steps = [new(0, 52, 110), new(66, 92, 140), new(124, 132, 138), new(190, 172, 105), new(253, 226, 70)];

    private static readonly Rgb s_none = new(225, 225, 225);

    /// <summary>Classes of a length at the vertices, each triangle by its largest: below each limit, above the last, and not measured (NaN).</summary>
    /// <param name="limitsMm">Four, ascending.</param>
    public static TriangleColours ByLength(Mesh mesh, float[] vertexMm, IReadOnlyList<double> limitsMm)
    {
        ArgumentOutOfRangeException.ThrowIfNotEqual(limitsMm.Count, s_steps.Length - 1);
        var classes = new byte[mesh.TriangleCount];
        for (var t = 0; t < classes.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            classes[t] = ClassOfLength(LargestOf(vertexMm[a], vertexMm[b], vertexMm[c]), limitsMm);
        }

        return new(classes,
        [
            .. limitsMm.Select((limit, n) => (FormattableString.Invariant($"up to {limit} mm"), s_steps[n])),
            (FormattableString.Invariant($"more than {limitsMm[^1]} mm"), s_steps[^1]),
            ("not measured", s_none),
        ]);
    }

    /// <summary>Classes of the parts of a joined mesh, which follow each other.</summary>
    public static TriangleColours ByPart(IReadOnlyList<(string Word, Rgb Colour, int Triangles)> parts)
    {
        ArgumentOutOfRangeException.ThrowIfGreaterThan(parts.Count, byte.MaxValue);
        var classes = new byte[parts.Sum(p => p.Triangles)];
        var at = 0;
        for (var p = 0; p < parts.Count; p++)
        {
            classes.AsSpan(at, parts[p].Triangles).Fill((byte)p);
            at += parts[p].Triangles;
        }

        return new(classes, [.. parts.Select(p => (p.Word, p.Colour))]);
    }

    internal Rgb Of(int triangle) => Classes[ClassOf[triangle]].Colour;

    // NaN goes first: with one corner not measured the triangle is not.
    private static float LargestOf(float a, float b, float c) => Math.Max(a, Math.Max(b, c));

    private static byte ClassOfLength(float mm, IReadOnlyList<double> limitsMm)
    {
        if (float.IsNaN(mm))
            return (byte)s_steps.Length;
        var n = 0;
        while (n < limitsMm.Count && mm > limitsMm[n])
            n++;
        return (byte)n;
    }
}
