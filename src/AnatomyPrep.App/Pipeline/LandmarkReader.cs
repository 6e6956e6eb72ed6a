using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Meshing.Verify;
using YamlDotNet.RepresentationModel;

namespace AnatomyPrep.App.Pipeline;

/// <summary>Reads named points, and the distances and angles asked for, from a file of their own or from a plan; both have one form.</summary>
internal static class LandmarkReader
{
    public const string Key = "landmarks";

    /// <summary>Largest coordinate; a person is smaller, and so is any scanner.</summary>
    public const double FarMm = 10_000;

    public const int LongestName = 60;

    private const string Form = "points: { NAME: [x, y, z], ... } in LPS mm, distances: [[NAME, NAME], ...] and angles: [[NAME, VERTEX, NAME], ...]";

    /// <exception cref="PlanException">Not such a file, or something names a point that is not there.</exception>
    public static LandmarkList ReadFile(string path)
    {
        var where = Path.GetFileName(path);
        return Read(PlanReader.Parse(File.ReadAllText(path), where), where);
    }

    /// <param name="where">Name for messages: a file's, without folder, or a plan's.</param>
    /// <exception cref="PlanException">Another form, or something names a point that is not there.</exception>
    public static LandmarkList Read(YamlMappingNode map, string where)
    {
        foreach (var (key, _) in map.Children)
            if (key is not YamlScalarNode { Value: "points" or "distances" or "angles" })
                throw new PlanException(where, PlanReader.Line(key), "key", PlanReader.Show(key), "points, distances, angles");
        if (!map.Children.TryGetValue("points", out var node) || node is not YamlMappingNode { Children.Count: > 0 } named)
            throw new PlanException(where, PlanReader.Line(map), "points", "missing or empty", Form);
        Landmark[] points = [.. named.Children.Select(p => new Landmark(Name(p.Key, where), Point(p.Value, where)))];
        return new(
            points,
            [.. Groups(map, "distances", "distance", 2, points, where).Select(g => (g[0], g[1]))],
            [.. Groups(map, "angles", "angle", 3, points, where).Select(g => (g[0], g[1], g[2]))]);
    }

    private static IEnumerable<int[]> Groups(YamlMappingNode map, string key, string one, int count, Landmark[] points, string where)
    {
        if (!map.Children.TryGetValue(key, out var node))
            yield break;
        foreach (var group in node as YamlSequenceNode ?? throw new PlanException(where, PlanReader.Line(node), key, "not a list", Form))
        {
            if (group is not YamlSequenceNode names || names.Children.Count != count)
                throw new PlanException(where, PlanReader.Line(group), one, PlanReader.Show(group), $"{count} names of points");
            int[] found = [.. names.Children.Select(Find)];
            if (found.Distinct().Count() < count)
                throw new PlanException(where, PlanReader.Line(group), one, "a point twice", $"{count} different points");
            yield return found;
        }

        int Find(YamlNode name)
        {
            var found = Array.FindIndex(points, p => p.Name == (name as YamlScalarNode)?.Value);
            return found >= 0 ? found : throw new PlanException(where, PlanReader.Line(name), one, PlanReader.Show(name), string.Join(", ", points.Select(p => p.Name)));
        }
    }

    private static string Name(YamlNode node, string where) =>
        node is YamlScalarNode { Value: { Length: > 0 and <= LongestName } name } && !name.Any(char.IsControl)
            ? name
            : throw new PlanException(where, PlanReader.Line(node), "point name", PlanReader.Show(node), $"1 to {LongestName} characters");

    private static Vec3 Point(YamlNode node, string where) =>
        node is YamlSequenceNode { Children: [var x, var y, var z] } ? new(Number(x, where), Number(y, where), Number(z, where)) : throw new PlanException(where, PlanReader.Line(node), "point", PlanReader.Show(node), "three numbers, LPS mm");

    private static double Number(YamlNode node, string where) =>
        double.TryParse((node as YamlScalarNode)?.Value, NumberStyles.Float, CultureInfo.InvariantCulture, out var value) && Math.Abs(value) <= FarMm
            ? value
            : throw new PlanException(where, PlanReader.Line(node), "coordinate", PlanReader.Show(node), "a number from -10000 to 10000");
}
