using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Marking;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Marking;

public sealed class GlyphsTests
{
    private const string Letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./";

    [Fact]
    public void All_promised_characters_are_there()
    {
        Glyphs.Known.ToCharArray().Should().BeEquivalentTo((Letters + " ").ToCharArray());
        Glyphs.FirstUnknown(Letters + Letters.ToLowerInvariant()).Should().BeNull();
        Glyphs.FirstUnknown("AB?").Should().Be('?');
    }

    [Fact]
    public void Letters_stand_on_the_line_and_are_as_high_as_they_say()
    {
        foreach (var c in Letters)
        {
            var (strokes, width) = Glyphs.Write($"{c}");
            strokes.SelectMany(s => s).Should().OnlyContain(p => p.X >= 0 && p.X <= width && p.Y >= -0.2 && p.Y <= Glyphs.CapHeight, "of {0}", c);
            if (char.IsLetterOrDigit(c))
                strokes.SelectMany(s => s).Max(p => p.Y).Should().Be(Glyphs.CapHeight, "of {0}", c);
        }
    }

    [Fact]
    public void No_two_characters_look_alike()
    {
        // Ink on a grid of half units with a pen of one unit: any two differ by a twelfth of the ink of both.
        var pictures = Letters.ToDictionary(c => c, Ink);
        foreach (var a in Letters)
            foreach (var b in Letters.Where(b => b > a))
            {
                var differ = pictures[a].Except(pictures[b]).Count() + pictures[b].Except(pictures[a]).Count();
                differ.Should().BeGreaterThanOrEqualTo((pictures[a].Count + pictures[b].Count) / 12, "{0} against {1}", a, b);
            }
    }

    [Fact]
    public void Every_character_becomes_a_solid()
    {
        using var engine = SolidEngine.Start(Vec3.Zero, RunContext.Default);
        foreach (var c in Letters)
        {
            var solid = engine.Strokes(Glyphs.Write($"{c}").Strokes, 0.5, 1, 8, Origin.Added);
            MeshFacts.Measure(solid, RunContext.Default).Solid.Should().BeTrue("of {0}", c);
            solid.Origins.ToArray().Should().OnlyContain(o => o == Origin.Added);
        }
    }

    [Fact]
    public void A_single_stroke_has_the_area_of_its_stadium()
    {
        using var engine = SolidEngine.Start(Vec3.Zero, RunContext.Default);
        var solid = engine.Strokes([[(0, 0), (10, 0)]], 1, 2, 8, Origin.Added);
        // A rectangle of 10 by 2 and 16 triangles of half a circle's polygon at either end.
        var ends = 16 * 0.5 * Math.Sin(Math.PI / 8);
        MeshMeasures.SignedVolumeMm3(solid).Should().BeApproximately(2 * (20 + ends), 1e-5);
    }

    private static HashSet<(int, int)> Ink(char c)
    {
        var ink = new HashSet<(int, int)>();
        var strokes = Glyphs.Write($"{c}").Strokes;
        for (var i = -2; i <= 14; i++)
            for (var j = -2; j <= 14; j++)
                if (strokes.Any(s => s.Zip(s.Length > 1 ? s.Skip(1) : s).Any(e => Distance(i / 2.0, j / 2.0, e.First, e.Second) <= 0.5)))
                    ink.Add((i, j));
        return ink;

        static double Distance(double x, double y, (double X, double Y) a, (double X, double Y) b)
        {
            var (dx, dy) = (b.X - a.X, b.Y - a.Y);
            var length = (dx * dx) + (dy * dy);
            var t = length > 0 ? Math.Clamp((((x - a.X) * dx) + ((y - a.Y) * dy)) / length, 0, 1) : 0;
            return Math.Sqrt(Math.Pow(x - a.X - (t * dx), 2) + Math.Pow(y - a.Y - (t * dy), 2));
        }
    }
}
