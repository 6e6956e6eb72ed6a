using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>What to try.</summary>
/// <param name="StepHu">How much the level is lowered and raised.</param>
/// <param name="ReachMm">Farthest a surface is followed; beyond it counts as lost.</param>
/// <param name="LevelHu">What the surface was placed at; null leaves the check that it lies on the images undone.</param>
public sealed record SensitivityOptions(double StepHu = 50, double ReachMm = 5, double? LevelHu = null);

/// <summary>How far the surface would move, in mm along the outward normal, for every vertex; NaN where nothing was measured.</summary>
/// <param name="LoweredMm">With the level lowered; positive outward. The reach where the level is not met within it.</param>
/// <param name="RaisedMm">With the level raised; negative inward.</param>
public sealed record SensitivityResult(float[] LoweredMm, float[] RaisedMm, ShiftSummary Lowered, ShiftSummary Raised)
{
    /// <summary>The larger of the two amounts for every vertex; NaN where nothing was measured.</summary>
    public float[] LargestMm()
    {
        var largest = new float[LoweredMm.Length];
        for (var v = 0; v < largest.Length; v++)
            largest[v] = Math.Max(Math.Abs(LoweredMm[v]), Math.Abs(RaisedMm[v]));
        return largest;
    }
}

/// <summary>Amounts by area: half, 95 % and 99 % of the measured surface move no farther.</summary>
/// <param name="LostMm2">Area of the vertices whose level is not met within the reach: walls that vanish or run together.</param>
public sealed record ShiftSummary(double MeanMm, double P50Mm, double P95Mm, double P99Mm, double LostMm2, double AreaMm2);

/// <summary>How far a surface moves when the level that placed it is lowered or raised.</summary>
/// <remarks>
/// Method: from every vertex the grey values, trilinear between samples, are followed along the vertex normal to both sides until they
///   meet the value found at the vertex less (or plus) the step; the nearer side counts. No gradient is divided by, so flat places
///   give a finite answer or none. Normals are the area-weighted mean of the triangles'.
/// Only vertices of measured triangles: what was cut or filled has no edge to move.
/// Error: exact for values linear in space, up to their rounding to whole HU; elsewhere a quarter of the finest sample distance is
///   looked at at a time and the crossing found linearly in it.
/// Weights: a vertex stands for a third of its measured triangles' area.
/// Cost: about ten samples a vertex; memory: 40 bytes a vertex. Same figures on any number of threads.
/// </remarks>
public static class Sensitivity
{
    private const string Step = "sensitivity";
    private const int PieceVertices = 1 << 13;

    // A surface half of whose area is farther from its level was moved, scaled, or not made from these images.
    private const double FarthestFromLevelHu = 200;

    /// <exception cref="CheckFailedException">Nothing on the mesh was measured, or it does not lie on its level in these images.</exception>
    /// <exception cref="OperationCanceledException">Asked once per 8,192 vertices.</exception>
    public static SensitivityResult Measure(Mesh mesh, Volume volume, SensitivityOptions options, RunContext run)
    {
        var (normals, areasMm2) = NormalsAndAreas(mesh, run);
        var sampler = new PatientSampler(volume);
        var count = mesh.VertexCount;
        float[] lowered = new float[count], raised = new float[count], here = new float[count];
        var stepMm = volume.Map.FinestSpacingMm / 4;
        Partition.Ranges(run, count, PieceVertices, (_, from, to) =>
        {
            for (var v = from; v < to; v++)
            {
                lowered[v] = raised[v] = here[v] = float.NaN;
                if (areasMm2[v] == 0 || !sampler.TrySample(mesh.Vertex(v), out var hu))
                    continue;
                here[v] = (float)hu;
                lowered[v] = Shift(sampler, mesh.Vertex(v), normals[v], hu, hu - options.StepHu, stepMm, options.ReachMm);
                raised[v] = Shift(sampler, mesh.Vertex(v), normals[v], hu, hu + options.StepHu, stepMm, options.ReachMm);
            }
        });
        MustLieOnLevel(here, areasMm2, options.LevelHu);
        return new(lowered, raised, Summary(lowered, areasMm2, options.ReachMm), Summary(raised, areasMm2, options.ReachMm));
    }

    private static (Vec3[] Normals, double[] AreasMm2) NormalsAndAreas(Mesh mesh, RunContext run)
    {
        var normals = new Vec3[mesh.VertexCount];
        var areas = new double[mesh.VertexCount];
        for (var t = 0; t < mesh.TriangleCount; t++)
        {
            if ((t & 0xffff) == 0)
                run.ThrowIfCancelled();
            var (a, b, c) = mesh.Triangle(t);
            var p = mesh.Local(a);
            var n = Vec3.Cross(mesh.Local(b) - p, mesh.Local(c) - p);
            var third = mesh.Origins[t] == Origin.Measured ? n.Length / 6 : 0;
            normals[a] += n;
            normals[b] += n;
            normals[c] += n;
            areas[a] += third;
            areas[b] += third;
            areas[c] += third;
        }

        for (var v = 0; v < normals.Length; v++)
            normals[v] = normals[v].Normalized();
        return (normals, areas);
    }

    // Signed distance along the normal to the nearest place with the wanted value; the reach, on the side it was looked for, where there is none.
    private static float Shift(PatientSampler sampler, Vec3 at, Vec3 normal, double hereHu, double wantedHu, double stepMm, double reachMm)
    {
        double outHu = hereHu, inHu = hereHu;
        bool outGoes = true, inGoes = true;
        var steps = (int)Math.Ceiling(reachMm / stepMm);
        double outFall = 0;
        for (var n = 1; n <= steps; n++)
        {
            double fromMm = (n - 1) * stepMm, toMm = Math.Min(reachMm, n * stepMm);
            if (outGoes && (outGoes = sampler.TrySample(at + (normal * toMm), out var hu)))
            {
                if (Passes(outHu, hu, wantedHu, out var share))
                    return (float)(fromMm + ((toMm - fromMm) * share));
                outHu = hu;
                outFall += hu - hereHu;
            }

            if (inGoes && (inGoes = sampler.TrySample(at - (normal * toMm), out hu)))
            {
                if (Passes(inHu, hu, wantedHu, out var share))
                    return (float)-(fromMm + ((toMm - fromMm) * share));
                inHu = hu;
                outFall -= hu - hereHu;
            }
        }

        // Never met: towards the side where values go the wanted way.
        return (float)(outFall * (wantedHu - hereHu) >= 0 ? reachMm : -reachMm);
    }

    private static bool Passes(double fromHu, double toHu, double wantedHu, out double share)
    {
        share = (wantedHu - fromHu) / (toHu - fromHu);
        return toHu != fromHu && (fromHu - wantedHu) * (toHu - wantedHu) <= 0;
    }

    private static void MustLieOnLevel(float[] hereHu, double[] areasMm2, double? levelHu)
    {
        double all = 0, off = 0;
        for (var v = 0; v < hereHu.Length; v++)
        {
            all += areasMm2[v];
            // Outside of the images is off its level too.
            if (areasMm2[v] > 0 && (float.IsNaN(hereHu[v]) || (levelHu is { } level && Math.Abs(hereHu[v] - level) > FarthestFromLevelHu)))
                off += areasMm2[v];
        }

        if (all == 0)
            throw new CheckFailedException(Step, "a measured surface", "none: everything was cut, filled or added");
        if (off > all / 2)
            throw new CheckFailedException(Step, "a surface that lies where the images have its level; put the step before those that move or scale", FormattableString.Invariant($"{off / all:P0} of it elsewhere"));
    }

    private static ShiftSummary Summary(float[] shiftsMm, double[] areasMm2, double reachMm)
    {
        var order = Enumerable.Range(0, shiftsMm.Length).Where(v => !float.IsNaN(shiftsMm[v])).ToArray();
        var amounts = Array.ConvertAll(order, v => Math.Abs(shiftsMm[v]));
        Array.Sort(amounts, order);
        double all = 0, weighted = 0, lost = 0;
        for (var n = 0; n < order.Length; n++)
        {
            all += areasMm2[order[n]];
            weighted += areasMm2[order[n]] * amounts[n];
            lost += amounts[n] >= (float)reachMm ? areasMm2[order[n]] : 0;
        }

        double At(double part)
        {
            double seen = 0;
            for (var n = 0; n < order.Length; n++)
            {
                seen += areasMm2[order[n]];
                if (seen >= part * all)
                    return amounts[n];
            }

            return 0;
        }

        return new(all > 0 ? weighted / all : 0, At(0.5), At(0.95), At(0.99), lost, all);
    }
}
