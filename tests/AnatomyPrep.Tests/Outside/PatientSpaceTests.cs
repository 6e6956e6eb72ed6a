using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Tests.Outside;

/// <summary>The surface lies where the body was, however it was scanned: written as DICOM, read back, extracted, held against the exact distance.</summary>
public sealed class PatientSpaceTests
{
    // Eq. 1 of docs/methods/surface.md with h 0.7 mm, R 20 mm: 0.0032 mm; half a HU of rounding at 250 HU/mm: 0.002 mm. The
    // clearance of 0.005 mm moves a vertex only along a grid edge that nearly ends on the surface.
    private const double BoundMm = 0.01;
    private const short LevelHu = 500;

    [Fact]
    [Trait("Kind", "Truth")]
    public void Every_axis_order_and_slice_direction_gives_the_same_surface()
    {
        foreach (var orientation in SliceOrientation.AllAxisOrders().Where((_, n) => n % 3 == 0))
            FarthestFromTruthMm(Sphere(new PhantomOptions { Orientation = orientation })).Should().BeLessThan(BoundMm, "of {0}", orientation);
    }

    [Theory]
    [InlineData(15)]
    [InlineData(-20)]
    [Trait("Kind", "Truth")]
    public void A_tilted_gantry_shears_nothing(double tiltDeg) =>
        FarthestFromTruthMm(Sphere(new PhantomOptions { GantryTiltDeg = tiltDeg })).Should().BeLessThan(BoundMm);

    [Fact]
    [Trait("Kind", "Truth")]
    public void Uneven_slices_are_kept_at_their_positions()
    {
        var even = Sphere(new PhantomOptions());
        var positions = even.Acquisition.TablePositionsMm;
        // The upper half twice as dense: steps of 0.7 and 0.35 mm.
        double[] uneven = [.. positions.Where(p => p < 0), .. Enumerable.Range(0, (int)(2 * positions[^1] / 0.7) + 1).Select(n => n * 0.35)];
        FarthestFromTruthMm(even with { Acquisition = even.Acquisition with { TablePositionsMm = uneven } }).Should().BeLessThan(BoundMm);
    }

    private static PhantomSeries Sphere(PhantomOptions options) =>
        PhantomCatalogue.Create("sphere-in-water", options with { SpacingMm = new(0.7, 0.7, 0.7) });

    private static double FarthestFromTruthMm(PhantomSeries phantom)
    {
        using var folder = new TestFolder();
        phantom.Write(folder["ct"], RunContext.Default);
        using var loaded = new DicomSource(TestProgram.Reader).Load(folder["ct"], null, RunContext.Default);
        using var region = Threshold.Apply(loaded.Volume, new HuWindow(LevelHu, short.MaxValue), RunContext.Default);
        var mesh = FlyingEdges.Extract(loaded.Volume, region, RunContext.Default).Mesh;
        mesh.VertexCount.Should().BePositive();
        var truth = phantom.Scene.SolidAt(LevelHu);
        return Enumerable.Range(0, mesh.VertexCount).Max(v => Math.Abs(truth.DistanceMm(mesh.Vertex(v))));
    }
}
