using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Shape;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.Tests.Meshing.Verify;

/// <summary>Models spoilt on purpose, of the bone of the four real series (shared/data/PROVENANCE.md).</summary>
[Trait("Kind", "Slow")]
[Trait("Needs", "Shared")]
public sealed class ModelAgainstRealSourceTests : IDisposable
{
    private const double ToleranceMm = 0.5;
    private const string Bone = "plan: p\nversion: \"1\"\nsteps:\n  - threshold: { lowerHu: 300 }\n  - keep-pieces: { largest: 0, minVolumeMm3: 500 }\n  - surface\n";
    private const string Human = "head-human-tilt-uneven";
    private const string Chest = "chest-human-1mm-overlap";

    private static readonly RunContext s_run = new();

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    /// <summary>The finding that each fault must give, besides which others may stand: a body scaled about the machine's centre has moved, too.</summary>
    [Theory]
    [InlineData(Human)]
    [InlineData(Chest)]
    [InlineData("head-phantom-1mm")]
    [InlineData("head-phantom-tilt-minus")]
    public void Every_fault_is_told_by_its_own_finding(string series)
    {
        var source = Surface(series);
        Of(source, source).Should().BeEmpty();
        Of(source.Moved(Affine3.Scale(1.02)), source).Should().Contain(FindingCodes.ModelScaledUnasked);
        Of(source.Moved(Affine3.Translate(new(0.6, 0.8, 0))), source).Should().Equal(FindingCodes.ModelMoved);
        Of(source.Moved(Affine3.Mirror(source.BoundsMm().Center, new(1, 0, 0))).Turned(), source).Should().Equal(FindingCodes.ModelMirrored);
        Of(Smooth.Apply(source, new(600), s_run).Mesh, source).Should().Contain(FindingCodes.ModelSmoothed);
        Of(Surface(series == Chest ? Human : Chest), source).Should().Equal(FindingCodes.ModelOfOtherSource);

        // No false alarm: the step's own number of passes, and half of the triangles.
        Of(Smooth.Apply(source, new(), s_run).Mesh, source).Should().BeEmpty();
        Of(Simplify.Apply(source, new(KeepRatio: 0.5), s_run).Mesh, source).Should().BeEmpty();
    }

    private static string[] Of(Mesh model, Mesh source) => [.. ModelAgainstSource.Measure(model, source, ToleranceMm, s_run).Findings.Select(f => f.Code)];

    private Mesh Surface(string series)
    {
        var result = _folder[series];
        if (!Directory.Exists(result))
        {
            File.WriteAllText(_folder["bone.yaml"], Bone);
            var made = TestProgram.Run(_folder["home"], "prepare", SharedData.Series(series), "--plan", _folder["bone.yaml"], "--out", result);
            made.ExitCode.Should().BeOneOf([0, 1], made.Errors);
        }

        return MeshFile.Read(Path.Combine(result, "model.ply"), new MeshReadOptions(), s_run).Mesh;
    }
}
