using AnatomyPrep.Core.Meshes;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>A colour for every triangle by its class, instead of by its origin.</summary>
/// <param name="ClassOf">One per triangle: its place in <paramref name="Classes"/>.</param>
/// <param name="Classes">Words for the legend, and colours.</param>
public sealed record TriangleColours(byte[] ClassOf, IReadOnlyList<(string Word, Rgb Colour)> Classes)
{
    // Cividis-like steps from blue to yellow that people with any common form of colour blindness tell apart (own choice).
    private static readonly Rgb[] s_steps = [new(0, 52, 110), new(66, 92, 140), new(124, 132, 138), new(190, 172, 105), new(253, 226, 70)];

    // Blue and brown differ for all common kinds of colour vision, and lightness falls with the distance on both sides (own choice).
    private static readonly Rgb[] s_inward = [new(166, 200, 230), new(103, 155, 208), new(44, 104, 176), new(8, 48, 107)];
    private static readonly Rgb[] s_outward = [new(250, 219, 140), new(238, 165, 60), new(196, 102, 14), new(112, 48, 2)];
    private static readonly Rgb s_near = new(240, 240, 236);

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

    /// <summary>Classes of a signed length at the vertices, each triangle by its corner farthest from 0: blue inside, grey about 0, yellow to brown outside.</summary>
    /// <param name="limitsMm">Four, ascending, above 0; each stands for both signs.</param>
    public static TriangleColours BySignedLength(Mesh mesh, float[] vertexMm, IReadOnlyList<double> limitsMm)
    {
        ArgumentOutOfRangeException.ThrowIfNotEqual(limitsMm.Count, s_inward.Length);
        var classes = new byte[mesh.TriangleCount];
        for (var t = 0; t < classes.Length; t++)
        {
            var (a, b, c) = mesh.Triangle(t);
            classes[t] = SignedClass(Farther(vertexMm[a], Farther(vertexMm[b], vertexMm[c])), limitsMm);
        }

        return new(classes,
        [
            .. Enumerable.Range(0, limitsMm.Count).Select(n => (Invariant($"below -{limitsMm[limitsMm.Count - 1 - n]} mm"), s_inward[limitsMm.Count - 1 - n])),
            (Invariant($"within {limitsMm[0]} mm"), s_near),
            .. limitsMm.Select((limit, n) => (Invariant($"above {limit} mm"), s_outward[n])),
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

    private static float Farther(float a, float b) => float.IsNaN(a) || Math.Abs(a) >= Math.Abs(b) ? a : b;

    private static string Invariant(FormattableString text) => FormattableString.Invariant(text);

    private static byte SignedClass(float mm, IReadOnlyList<double> limitsMm)
    {
        if (float.IsNaN(mm))
            return (byte)((2 * limitsMm.Count) + 1);
        var steps = 0;
        while (steps < limitsMm.Count && Math.Abs(mm) > limitsMm[steps])
            steps++;
        return (byte)(limitsMm.Count + (mm < 0 ? -steps : steps));
    }

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
