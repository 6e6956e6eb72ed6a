using System.Diagnostics;
using System.Globalization;
using System.Text;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Benchmarks.Ratios;

/// <summary>How the cost of the stages grows with voxels and with triangles: processor seconds, and the exponent fitted to them.</summary>
/// <remarks>
/// Processor seconds rather than the clock's, so that other programs on the machine matter less. The exponent is the slope of the least-squares
/// line through the logarithms; below 0.002 s a measurement says more about starting and about what fits the caches than about the work, and is left out.
/// </remarks>
internal static class Growth
{
    private const double ShortestSeconds = 0.002;

    public static int Run(string folder, int largestSide, int mostTriangles)
    {
        Directory.CreateDirectory(folder);
        var sides = new[] { 128, 192, 256, 384, 512, 768, 1024 }.Where(s => s <= largestSide);
        Report(folder, "voxels", "growth-voxels.svg", OfVoxels([.. sides]));
        var counts = new[] { 10_000, 30_000, 100_000, 300_000, 1_000_000, 3_000_000, 10_000_000 }.Where(n => n <= mostTriangles);
        Report(folder, "triangles", "growth-triangles.svg", OfTriangles([.. counts]));
        return 0;
    }

    private static List<Series> OfVoxels(int[] sides)
    {
        var run = RunContext.Default;
        var all = new Dictionary<string, Series>();
        foreach (var side in sides)
        {
            using var volume = NoisyBall.Create(side);
            using var region = Threshold.Apply(volume, NoisyBall.Bone, run);
            using var pieces = Components.Find(region, volume.Map, run);
            using var ball = pieces.Keep(1, run);
            Add(all, "threshold", volume.Count, () => Threshold.Apply(volume, NoisyBall.Bone, run).Dispose());
            Add(all, "labelling", volume.Count, () => Components.Find(region, volume.Map, run).Dispose());
            Add(all, "closing, 1 mm", volume.Count, () => Morphology.Close(region, volume.Map, 1, run).Dispose());
            Add(all, "distance inside", volume.Count, () => DistanceMap.Inside(ball, volume.Map, run).Dispose());
            Add(all, "surface", volume.Count, () => FlyingEdges.Extract(volume, ball, run));
        }

        return [.. all.Values];
    }

    private static List<Series> OfTriangles(int[] counts)
    {
        var run = RunContext.Default;
        var all = new Dictionary<string, Series>();
        foreach (var count in counts)
        {
            var mesh = Waves(count);
            var tree = TriangleTree.Build(mesh, run);
            var moved = Move.Apply(mesh, new(new Vec3(0.1, 0.2, 0.3)), run).Mesh;
            Add(all, "tree", count, () => TriangleTree.Build(mesh, run));
            Add(all, "mesh facts", count, () => MeshFacts.Measure(mesh, run));
            Add(all, "self-intersections", count, () => SelfIntersections.Find(mesh, run));
            Add(all, "smoothing, 20 passes", count, () => Smooth.Apply(mesh, new(Iterations: 10), run));
            Add(all, "simplification by 90 %", count, () => Simplify.Apply(mesh, new(KeepRatio: 0.1), run));
            Add(all, "signed distance of all vertices", count, () => SignedDistance.To(tree, EdgeTable.Build(mesh), run).OfVertices(moved, run));
        }

        return [.. all.Values];
    }

    /// <summary>A closed surface of about so many triangles: a sphere of 80 mm with waves, in rings of equal steps.</summary>
    private static Mesh Waves(int triangles)
    {
        var rings = Math.Max(4, (int)Math.Sqrt(triangles / 4.0));
        var around = 2 * rings;
        var positions = new List<float>((3 * rings * around) + 6);
        void Put(double polar, double azimuth)
        {
            var r = 80 + (3 * Math.Sin(9 * polar) * Math.Cos(7 * azimuth) * Math.Sin(polar));
            positions.AddRange([(float)(r * Math.Sin(polar) * Math.Cos(azimuth)), (float)(r * Math.Sin(polar) * Math.Sin(azimuth)), (float)(r * Math.Cos(polar))]);
        }

        Put(0, 0);
        for (var i = 1; i < rings; i++)
            for (var j = 0; j < around; j++)
                Put(Math.PI * i / rings, 2 * Math.PI * j / around);
        Put(Math.PI, 0);
        var last = (positions.Count / 3) - 1;
        var corners = new List<int>(12 * rings * rings);
        int At(int ring, int j) => 1 + ((ring - 1) * around) + (j % around);
        for (var j = 0; j < around; j++)
            corners.AddRange([0, At(1, j), At(1, j + 1), last, At(rings - 1, j + 1), At(rings - 1, j)]);
        for (var i = 1; i < rings - 1; i++)
            for (var j = 0; j < around; j++)
                corners.AddRange([At(i, j), At(i + 1, j), At(i + 1, j + 1), At(i, j), At(i + 1, j + 1), At(i, j + 1)]);
        return new(Vec3.Zero, [.. positions], [.. corners]);
    }

    private static void Add(Dictionary<string, Series> all, string name, double size, Action work)
    {
        if (!all.TryGetValue(name, out var series))
            all[name] = series = new(name, []);
        work();
        // Small inputs are run until they took long enough for the processor's clock.
        var (runs, before, watch) = (0, Environment.CpuUsage.TotalTime, Stopwatch.StartNew());
        do
        {
            work();
            runs++;
        }
        while (watch.Elapsed.TotalSeconds < 0.2);
        series.Points.Add((size, (Environment.CpuUsage.TotalTime - before).TotalSeconds / runs));
    }

    private static void Report(string folder, string unit, string picture, List<Series> all)
    {
        Console.WriteLine($"| stage | {string.Join(" | ", all[0].Points.Select(p => p.Size.ToString("G3", CultureInfo.InvariantCulture)))} | exponent in {unit} |");
        Console.WriteLine($"|---|{string.Concat(all[0].Points.Select(_ => "---|"))}---|");
        foreach (var series in all)
            Console.WriteLine(FormattableString.Invariant($"| {series.Name} | {string.Join(" | ", series.Points.Select(p => p.Seconds.ToString("F3", CultureInfo.InvariantCulture)))} | {series.Exponent:F2} |"));
        File.WriteAllText(Path.Combine(folder, picture), GrowthPicture.Draw(unit, [.. all.Select(s => (FormattableString.Invariant($"{s.Name}: {s.Exponent:F2}"), s.Points))]));
    }

    private sealed record Series(string Name, List<(double Size, double Seconds)> Points)
    {
        public double Exponent
        {
            get
            {
                var logs = Points.Where(p => p.Seconds >= ShortestSeconds).Select(p => (X: Math.Log(p.Size), Y: Math.Log(p.Seconds))).ToArray();
                var (x, y) = (logs.Average(l => l.X), logs.Average(l => l.Y));
                return logs.Sum(l => (l.X - x) * (l.Y - y)) / logs.Sum(l => (l.X - x) * (l.X - x));
            }
        }
    }
}

/// <summary>Measurements on logarithmic axes, as SVG.</summary>
internal static class GrowthPicture
{
    private const double Width = 760, Height = 520, Left = 70, Right = 250, Top = 20, Bottom = 50;

    // Told apart by people who do not see red and green as different: M. Okabe and K. Ito, "Color Universal Design", 2008 (from memory).
    private static readonly string[] s_colours = ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9"];

    public static string Draw(string unit, (string Name, List<(double Size, double Seconds)> Points)[] lines)
    {
        var points = lines.SelectMany(l => l.Points).ToArray();
        double x0 = Math.Floor(Math.Log10(points.Min(p => p.Size))), x1 = Math.Ceiling(Math.Log10(points.Max(p => p.Size)));
        double y0 = Math.Floor(Math.Log10(points.Min(p => p.Seconds))), y1 = Math.Ceiling(Math.Log10(points.Max(p => p.Seconds)));
        double X(double log) => Left + ((log - x0) / (x1 - x0) * (Width - Left - Right));
        double Y(double log) => Height - Bottom - ((log - y0) / (y1 - y0) * (Height - Top - Bottom));
        var svg = new StringBuilder();
        svg.Append(CultureInfo.InvariantCulture, $"<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {Width} {Height}\" font-family=\"sans-serif\" font-size=\"13\">\n<rect width=\"{Width}\" height=\"{Height}\" fill=\"#fff\"/>\n");
        for (var x = x0; x <= x1; x++)
            svg.Append(CultureInfo.InvariantCulture, $"<path d=\"M{X(x):F1} {Top}V{Height - Bottom}\" stroke=\"#ddd\"/><text x=\"{X(x):F1}\" y=\"{Height - Bottom + 18}\" text-anchor=\"middle\">10^{x}</text>\n");
        for (var y = y0; y <= y1; y++)
            svg.Append(CultureInfo.InvariantCulture, $"<path d=\"M{Left} {Y(y):F1}H{Width - Right}\" stroke=\"#ddd\"/><text x=\"{Left - 8}\" y=\"{Y(y) + 4:F1}\" text-anchor=\"end\">10^{y} s</text>\n");
        svg.Append(CultureInfo.InvariantCulture, $"<text x=\"{(Left + Width - Right) / 2}\" y=\"{Height - 12}\" text-anchor=\"middle\">{unit}</text>\n");
        for (var l = 0; l < lines.Length; l++)
        {
            var colour = s_colours[l % s_colours.Length];
            var path = string.Join('L', lines[l].Points.Select(p => FormattableString.Invariant($"{X(Math.Log10(p.Size)):F1} {Y(Math.Log10(p.Seconds)):F1}")));
            svg.Append(CultureInfo.InvariantCulture, $"<path d=\"M{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\"/>\n<text x=\"{Width - Right + 14}\" y=\"{Top + 16 + (22 * l)}\" fill=\"{colour}\">{lines[l].Name}</text>\n");
        }

        return svg.Append("</svg>\n").ToString();
    }
}
