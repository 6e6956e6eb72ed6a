using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;

namespace AnatomyPrep.Meshing.Combining;

/// <summary>Drops pieces of a combination that are nothing but rounding: films thinner than a few steps of float32.</summary>
/// <remarks>
/// Surfaces that were meant to coincide differ by a step or two once they are rounded, and what lies between them comes out
/// as pieces without substance. A piece goes when twice its volume over its area, the thickness of a plate, is below
/// <see cref="ThicknessSteps"/> steps, and it is made of more than one source or was cut; a thin piece that was there before stays.
/// </remarks>
internal static class Dust
{
    public const double ThicknessSteps = 8;

    public static (Mesh Mesh, bool[] IsNew, int Pieces) Drop(CombinedMesh combined, RunContext run)
    {
        var mesh = combined.Mesh;
        var pieces = Pieces.Find(mesh, run);
        if (pieces.All.Count == 0)
            return (mesh, combined.VertexIsNew, 0);
        var (made, firstSource) = (new bool[pieces.All.Count], new int[pieces.All.Count]);
        Array.Fill(firstSource, -1);
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            var piece = pieces.PieceOfTriangle[t];
            var (a, b, c) = mesh.Triangle(t);
            made[piece] |= combined.VertexIsNew[a] || combined.VertexIsNew[b] || combined.VertexIsNew[c];
            made[piece] |= firstSource[piece] >= 0 && firstSource[piece] != combined.SourceOf[t];
            firstSource[piece] = combined.SourceOf[t];
        }

        var thinMm = ThicknessSteps * StepMm(mesh);
        var dust = pieces.All.Select((p, i) => made[i] && 2 * Math.Abs(p.SignedVolumeMm3) < thinMm * p.AreaMm2).ToArray();
        if (!dust.Contains(true))
            return (mesh, combined.VertexIsNew, 0);
        var keep = new bool[mesh.TriangleCount];
        var used = new bool[mesh.VertexCount];
        for (var t = 0; t < keep.Length; t++)
        {
            keep[t] = !dust[pieces.PieceOfTriangle[t]];
            if (!keep[t])
                continue;
            var (a, b, c) = mesh.Triangle(t);
            used[a] = used[b] = used[c] = true;
        }

        var isNew = combined.VertexIsNew.Where((_, v) => used[v]).ToArray();
        return (MeshSubset.Keep(mesh, keep), isNew, dust.Count(d => d));
    }

    /// <summary>The step of float32 at the largest coordinate.</summary>
    public static double StepMm(Mesh mesh)
    {
        float largest = 0;
        foreach (var x in mesh.Positions)
            largest = Math.Max(largest, Math.Abs(x));
        return MathF.BitIncrement(largest) - (double)largest;
    }
}
