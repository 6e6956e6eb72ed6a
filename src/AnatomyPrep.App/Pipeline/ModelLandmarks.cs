using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Pipeline;

/// <summary>The points, distances and angles of a plan on the finished model and on the surface of its images.</summary>
internal static class ModelLandmarks
{
    /// <summary>What readers of models commonly work to; common practice, no source.</summary>
    public const double CommonToleranceMm = 0.5;

    /// <summary>Several structures are measured as one: a distance may run from one to another.</summary>
    /// <param name="findings">What was found is added.</param>
    /// <returns>Null, with a finding, where there is nothing to measure against.</returns>
    public static LandmarkMeasurements? Measure(LandmarkList asked, IReadOnlyList<FinishedSolid> solids, LoadedSource source, List<Finding> findings, RunContext run)
    {
        if (source.State.SourceVolume is not { } images || solids.Any(s => s.Deviation is null))
        {
            findings.Add(new(FindingCodes.LandmarksNotMeasured, Severity.Caution,
                source.State.SourceVolume is null ? "The landmarks of the plan were not measured: the source is no images." : "The landmarks of the plan were not measured: its steps move parts of the model differently, or there is no model.",
                "Measure a plan without the steps that part it, or take the landmarks out of the plan."));
            return null;
        }

        run.Report("verify", "landmarks", 0);
        var surfaces = new LandmarkSurfaces(
            TriangleTree.Build(MeshJoin.Join([.. solids.Select(s => s.SourceSurface!.Rebased(Vec3.Zero))]), run),
            TriangleTree.Build(MeshJoin.Join([.. solids.Select(s => s.Deviation!.Model.Rebased(Vec3.Zero))]), run),
            solids[0].Structure is null ? source.State.Placement!.Value : Affine3.Identity,
            images.Map,
            source.SliceThicknessMm);
        var figures = LandmarkCheck.Measure(asked, surfaces, CommonToleranceMm, run);
        findings.AddRange(figures.Findings);
        return RecordMapping.Landmarks(figures, CommonToleranceMm, source.SliceThicknessMm);
    }
}
