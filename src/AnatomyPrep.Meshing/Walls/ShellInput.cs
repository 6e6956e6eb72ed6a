using System.Globalization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Meshing.Walls;

/// <summary>What the steps of this folder ask of their input, and the grid they choose.</summary>
internal static class ShellInput
{
    public static void RequireIn(string step, string parameter, double value, double aboveMm, double mostMm)
    {
        if (!(value > aboveMm && value <= mostMm))
            throw new PlanException(step, null, parameter, Placement.Text(value), string.Create(CultureInfo.InvariantCulture, $"more than {aboveMm:G4}, at most {mostMm:G4}"));
    }

    public static void RequireNotNegative(string step, string parameter, double value)
    {
        if (!(value >= 0 && double.IsFinite(value)))
            throw new PlanException(step, null, parameter, Placement.Text(value), "0 or more");
    }

    public static void RequireRadius(string step, double radiusMm)
    {
        if (!(radiusMm >= 0 && radiusMm <= 100))
            throw new PlanException(step, null, "smoothRadiusMm", Placement.Text(radiusMm), "0 to 100 mm");
    }

    /// <exception cref="CheckFailedException">No triangles, or faults that leave open what is inside.</exception>
    public static void RequireSolid(string step, Mesh mesh, RunContext run)
    {
        if (mesh.TriangleCount == 0)
            throw new CheckFailedException(step, "a closed solid", "no triangles");
        var facts = MeshFacts.Measure(mesh, run);
        if (facts.BoundaryEdges > 0)
            throw new CheckFailedException(step, "a closed solid", Invariant($"{facts.BoundaryLoops} openings; fill them, or make a shell of the open sheet"));
        if (!facts.Watertight || facts.NonManifoldVertices > 0 || facts.InwardShells > 0)
        {
            throw new CheckFailedException(step, "a closed solid", Invariant(
                $"{facts.NonManifoldEdges} edges with more than two triangles, {facts.InconsistentEdges} between triangles that face opposite ways, {facts.NonManifoldVertices} vertices where parts only touch, {facts.InwardShells} parts inside out; use fix-topology and orient"));
        }

        if (facts.SelfIntersections > 0)
            throw new CheckFailedException(step, "a solid that does not cross itself", Invariant($"{facts.SelfIntersections} pairs of triangles that cross; repair them or join the parts first"));
    }

    /// <summary>
    /// The surface's middle edge length, so that its detail is kept, but between two limits, and not so small that the memory allowed on
    /// every machine (<see cref="SparseGrid.MostBytes"/>) would be more than half used.
    /// </summary>
    public static double CellMm(Mesh mesh, double leastMm, double mostMm, RunContext run)
    {
        var lengths = new float[mesh.Triangles.Length];
        for (var h = 0; h < lengths.Length; h++)
            lengths[h] = (float)(mesh.Local(mesh.Triangles[h]) - mesh.Local(mesh.Triangles[EdgeTable.Next(h)])).Length;
        Array.Sort(lengths);
        var cell = Math.Clamp(lengths[lengths.Length / 2], leastMm, mostMm);
        return Math.Max(cell, Math.Sqrt(2 * SparseGrid.PeakBytes(2 * MeshMeasures.AreaMm2(mesh, run), 1) / SparseGrid.MostBytes));
    }

    private static string Invariant(FormattableString text) => FormattableString.Invariant(text);
}
