using OpenCvSharp;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;

namespace AnatomyPrep.Tests.App;

/// <summary>Pictures of models that a plan moved, turned, mirrored and scaled.</summary>
public sealed class PlacedPicturesTests : IDisposable
{
    private const string Plain = "plan: p\nversion: \"1\"\nsteps:\n  - threshold: { lowerHu: 300 }\n  - surface\n";

    private readonly TestFolder _folder = new();

    private string Home => _folder["home"];

    public void Dispose() => _folder.Dispose();

    /// <summary>
    /// Sections show the model on its images, so they are the same however the plan placed it: outlines may differ by the rounding of
    /// positions to float32 (under 1e-4 mm, a thousandth of a pixel), which changes no grey value by more than a few steps.
    /// The preview shows the model as it was placed, so it must differ.
    /// </summary>
    [Fact]
    public void Sections_are_the_same_however_the_plan_placed_the_model()
    {
        var images = _folder["images"];
        PhantomCatalogue.Create("shells").WriteWithTruth(images, RunContext.Default);
        var plain = Prepare(images, "plain", "");
        var placed = Prepare(images, "placed", "  - rotate: { axis: [1, 2, 3], angleDeg: 70 }\n  - mirror: { normal: [1, 0, 0], pointMm: [5, 0, 0] }\n  - scale: { factor: 1.5 }\n  - move: { byMm: [30, -20, 10] }\n");

        var sections = Directory.GetFiles(Path.Combine(plain, "sections")).Select(Path.GetFileName).Where(n => !n!.StartsWith("deviation", StringComparison.Ordinal)).Order().ToArray();
        sections.Should().HaveCountGreaterThanOrEqualTo(3);
        foreach (var name in sections)
        {
            using var one = Cv2.ImRead(Path.Combine(plain, "sections", name!));
            using var other = Cv2.ImRead(Path.Combine(placed, "sections", name!));
            using var difference = new Mat();
            Cv2.Absdiff(one, other, difference);
            Cv2.MinMaxLoc(difference.Reshape(1), out _, out double most);
            most.Should().BeLessThan(16, "of {0}", name);
        }

        File.ReadAllBytes(Path.Combine(placed, "preview.png")).Should().NotEqual(File.ReadAllBytes(Path.Combine(plain, "preview.png")));
    }

    private string Prepare(string images, string name, string moreSteps)
    {
        File.WriteAllText(_folder[name + ".yaml"], Plain + moreSteps);
        var made = TestProgram.Run(Home, "prepare", images, "--plan", _folder[name + ".yaml"], "--out", _folder[name]);
        made.ExitCode.Should().Be(0, made.Errors);
        return _folder[name];
    }
}
