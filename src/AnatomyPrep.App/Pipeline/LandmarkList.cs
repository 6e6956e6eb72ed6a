using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Verify;
using YamlDotNet.RepresentationModel;

namespace AnatomyPrep.App.Pipeline;

/// <summary>Named points and the distances asked for, from a file: points: { NAME: [x, y, z] }, distances: [[NAME, NAME]].</summary>
internal sealed record LandmarkList(IReadOnlyList<Landmark> Points, IReadOnlyList<(int From, int To)> Distances)
{
    private const string Form = "points: { NAME: [x, y, z], ... } in LPS mm, and distances: [[NAME, NAME], ...]";
    private const double FarMm = 10_000;

    /// <exception cref="PlanException">Not such a file, or a distance names a point that is not there.</exception>
    public static LandmarkList Read(string path)
    {
        var where = Path.GetFileName(path);
        var root = PlanReader.Parse(File.ReadAllText(path), where);
        foreach (var (key, _) in root.Children)
            if (key is not YamlScalarNode { Value: "points" or "distances" })
                throw new PlanException(where, (int)key.Start.Line, "key", key.ToString(), "points, distances");
        if (!root.Children.TryGetValue("points", out var node) || node is not YamlMappingNode { Children.Count: > 0 } map)
            throw new PlanException(where, null, "points", "missing or empty", Form);
        Landmark[] points = [.. map.Children.Select(p => new Landmark(((YamlScalarNode)p.Key).Value ?? "", Point(p.Value, where)))];
        var distances = new List<(int, int)>();
        if (root.Children.TryGetValue("distances", out var pairs))
        {
            foreach (var pair in pairs as YamlSequenceNode ?? throw new PlanException(where, (int)pairs.Start.Line, "distances", "not a list", Form))
                distances.Add(pair is YamlSequenceNode { Children: [var from, var to] } ? (Find(from), Find(to)) : throw new PlanException(where, (int)pair.Start.Line, "distance", pair.ToString(), "two names of points"));
        }

        return new(points, distances);

        int Find(YamlNode name)
        {
            var found = Array.FindIndex(points, p => p.Name == (name as YamlScalarNode)?.Value);
            return found >= 0 ? found : throw new PlanException(where, (int)name.Start.Line, "distance", name.ToString(), string.Join(", ", points.Select(p => p.Name)));
        }
    }

    private static Vec3 Point(YamlNode node, string where) =>
        node is YamlSequenceNode { Children: [var x, var y, var z] } ? new(Number(x, where), Number(y, where), Number(z, where)) : throw new PlanException(where, (int)node.Start.Line, "point", node.ToString(), "three numbers, LPS mm");

    private static double Number(YamlNode node, string where) =>
        double.TryParse((node as YamlScalarNode)?.Value, NumberStyles.Float, CultureInfo.InvariantCulture, out var value) && Math.Abs(value) <= FarMm
            ? value
            : throw new PlanException(where, (int)node.Start.Line, "coordinate", node.ToString(), "a number from -10000 to 10000");
}
