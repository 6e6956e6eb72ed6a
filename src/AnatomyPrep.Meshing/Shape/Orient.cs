using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Shape;

/// <summary>What a closed shell inside another one is.</summary>
public enum NestedShells
{
    /// <summary>Whatever it was, judged against the outermost shell around it.</summary>
    AsFound,

    /// <summary>Void inside solid inside void, by depth.</summary>
    Cavities,

    /// <summary>Solids that overlap; every shell faces outward.</summary>
    Solids,
}

/// <param name="Outward">Shells shall face outward; otherwise only neighbours are brought to agree.</param>
/// <param name="Flip">Turn everything over at the end.</param>
public sealed record OrientParameters(bool Outward = true, NestedShells Nested = NestedShells.AsFound, bool Flip = false);

/// <summary>Brings the two sides of a surface into order.</summary>
/// <remarks>
/// Method: flood fill over edges of exactly two triangles makes neighbours agree, the larger area of a shell keeping its
///   side. Then a closed shell faces outward by the sign of its volume; inside another shell (<see cref="ShellNesting"/>)
///   by <see cref="NestedShells"/>. An open shell is judged by its volume with every border closed by a fan to the
///   border's mean; where that volume is below 0.3 % of area^1.5 (a dome of 1 % height) it has no outside and stays.
/// Gives: the same vertices, the same triangles in the same order; a turned one has its last two corners swapped. A mesh
///   in order comes back as the same object. A one-sided shell (Möbius) cannot be ordered: it stays as it was, with a caution.
/// Measures: shells, flippedTriangles, flippedPatches (connected turned areas), oneSidedShells.
/// Cost: O(triangles); peak about 110 bytes a triangle where shells may lie in each other, else 40.
/// </remarks>
public static class Orient
{
    private const string Step = "orient";

    /// <exception cref="OperationCanceledException">Asked once per shell and per block of triangles.</exception>
    public static ShapeResult Apply(Mesh mesh, OrientParameters parameters, RunContext run)
    {
        var shells = OrientedShells.Find(mesh, run);
        run.Report(Step, "neighbours", 1);
        if (parameters.Outward)
            TurnOutward(mesh, shells, parameters.Nested, run);
        run.Report(Step, "sides", 1);
        var turned = shells.Turned;
        if (parameters.Flip)
            for (var t = 0; t < turned.Length; t++)
                turned[t] = !turned[t];
        return Result(mesh, shells, run);
    }

    private static void TurnOutward(Mesh mesh, OrientedShells shells, NestedShells nested, RunContext run)
    {
        var triangles = shells.Apply(mesh);
        var volumes = CappedVolumes.Measure(mesh, triangles, shells, run);
        var wanted = Signs(mesh, triangles, shells, volumes, nested, run);
        var turn = new bool[shells.Count];
        for (var s = 0; s < turn.Length; s++)
            turn[s] = !shells.OneSided[s] && wanted[s] != 0 && Math.Sign(volumes[s].Mm3) != wanted[s];
        for (var t = 0; t < shells.Turned.Length; t++)
            shells.Turned[t] ^= turn[shells.Shell[t]];
    }

    /// <summary>The sign that each shell's volume shall have; 0 where it has no outside.</summary>
    private static int[] Signs(
        Mesh mesh, int[] triangles, OrientedShells shells, CappedVolumes.Shell[] volumes, NestedShells nested, RunContext run)
    {
        var signs = new int[shells.Count];
        for (var s = 0; s < signs.Length; s++)
            signs[s] = volumes[s].HasOutside ? 1 : 0;
        if (nested == NestedShells.Solids)
            return signs;
        var closed = Array.ConvertAll(volumes, v => v.Closed && v.HasOutside);
        var containers = ShellNesting.Containers(TriangleTree.Build(mesh, run), shells.Shell, closed, run);
        for (var s = 0; s < signs.Length; s++)
        {
            if (signs[s] == 0 || containers[s].Length == 0)
                continue;
            if (nested == NestedShells.Cavities)
            {
                signs[s] = containers[s].Length % 2 == 0 ? 1 : -1;
                continue;
            }

            var outermost = containers[s][0];
            foreach (var other in containers[s])
                if (Math.Abs(volumes[other].Mm3) > Math.Abs(volumes[outermost].Mm3))
                    outermost = other;
            signs[s] = Math.Sign(volumes[s].Mm3) == Math.Sign(volumes[outermost].Mm3) ? 1 : -1;
        }

        return signs;
    }

    private static ShapeResult Result(Mesh mesh, OrientedShells shells, RunContext run)
    {
        double changed = 0;
        var flipped = 0;
        for (var t = 0; t < shells.Turned.Length; t++)
            if (shells.Turned[t])
            {
                flipped++;
                changed += MeshMeasures.TriangleAreaMm2(mesh, t);
            }

        var result = flipped == 0 ? mesh : new Mesh(mesh.OriginMm, mesh.PositionArray, shells.Apply(mesh), mesh.OriginArray);
        var measures = new SortedDictionary<string, double>(StringComparer.Ordinal)
        {
            ["flippedPatches"] = shells.TurnedPatches(),
            ["flippedTriangles"] = flipped,
            ["oneSidedShells"] = shells.OneSided.Count(s => s),
            ["shells"] = shells.Count,
        };
        var before = MeshMeasures.SignedVolumeMm3(mesh, run);
        var effect = new StepEffect(changed, 0, 0, before, flipped == 0 ? before : MeshMeasures.SignedVolumeMm3(result, run), measures);
        return new(result, effect, OneSided(mesh, shells));
    }

    private static List<Finding> OneSided(Mesh mesh, OrientedShells shells)
    {
        var findings = new List<Finding>();
        for (var s = 0; s < shells.Count; s++)
            if (shells.OneSided[s])
            {
                var first = Array.IndexOf(shells.Shell, s);
                findings.Add(new(
                    FindingCodes.OneSidedSurface,
                    Severity.Caution,
                    "A part of the surface has only one side, so it has neither inside nor outside; it was left as it is.",
                    "Cut it open or remove it.",
                    new(PositionMm: mesh.Vertex(mesh.Triangles[3 * first]), FirstTriangle: first)));
            }

        return findings;
    }
}
