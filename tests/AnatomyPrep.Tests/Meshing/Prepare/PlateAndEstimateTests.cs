using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Combining;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Tests.Meshing.Shape;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Prepare;

public sealed class PlateAndEstimateTests
{
    private static readonly RunContext s_run = RunContext.Default;
    private static readonly Vec3 s_up = new(0, 0, 1);

    [Fact]
    public void A_long_box_fits_across_the_corner()
    {
        // 280 × 10 along x on a plate of 250 × 210: at 33° it takes 280·cos + 10·sin by 280·sin + 10·cos.
        var profile = Profiles.Extrusion;
        var fit = PlateFit.Of(Solids.Box(new(0, 0, 0), new(280, 10, 10)), s_up, profile, s_run);
        fit.Fits.Should().BeTrue();
        fit.SizeMm.X.Should().BeLessThan(248);
        var turn = fit.TurnDeg * Math.PI / 180;
        fit.SizeMm.X.Should().BeApproximately(Math.Abs(280 * Math.Cos(turn)) + Math.Abs(10 * Math.Sin(turn)), 1e-3);
    }

    [Fact]
    public void What_is_too_large_gets_cuts_after_which_every_part_fits()
    {
        var profile = Profiles.Extrusion;
        // 600 long with a waist of 20 × 20 from 270 to 330: three parts, and a cut goes through the waist if it can.
        var model = Solids.Moved(Solids.GridBox(15, 60), (_, p) =>
        {
            var x = p.X * 10;
            var thin = x is >= 200 and <= 240 ? 0.3 : 1;
            return new(x, (p.Y - 30) * thin, ((p.Z - 30) * thin) + 30);
        });
        var fit = PlateFit.Of(model, s_up, profile, s_run);
        fit.Fits.Should().BeFalse();
        fit.Cuts.Should().HaveCount(2);
        // The best turn need not be along x; but the first cut goes where the bar is thin: 18 × 18 mm, cut at any angle of up to 40°.
        fit.Cuts.Min(c => c.SectionMm2).Should().BeLessThan(18 * 18 / Math.Cos(40 * Math.PI / 180));
        var parts = new List<Mesh> { model };
        foreach (var cut in fit.Cuts)
        {
            var last = parts[^1];
            parts.RemoveAt(parts.Count - 1);
            var made = CutIntoParts.Apply(last, new(cut.PointMm, cut.Normal), s_run);
            parts.AddRange([made.Back, made.Front]);
        }

        parts.Should().HaveCount(3);
        foreach (var part in parts)
        {
            MeshFacts.Measure(part, s_run).Solid.Should().BeTrue();
            PlateFit.Of(part, s_up, profile, s_run).Fits.Should().BeTrue();
        }
    }

    [Fact]
    public void Section_area_is_exact()
    {
        PlateFit.SectionMm2(Solids.Box(new(0, 0, 0), new(10, 20, 30)), s_up, 7).Should().BeApproximately(200, 1e-9);
        var shell = Solids.Merged(Solids.Box(new(0, 0, 0), new(10, 20, 30)), Solids.InsideOut(Solids.Box(new(2, 2, 2), new(8, 18, 28))));
        PlateFit.SectionMm2(shell, s_up, 7).Should().BeApproximately(200 - (6 * 16), 1e-9);
    }

    [Fact]
    public void An_estimate_is_the_stated_sum()
    {
        var profile = Profiles.Extrusion with
        {
            ModelFill = 0.2,
            SkinMm = 1,
            SupportFill = 0.5,
            LayerHeightMm = 0.2,
            DensityGPerCm3 = 1.2,
            SupportDensityGPerCm3 = 1,
            PriceEurPerKg = 50,
            SupportPriceEurPerKg = 10,
            PriceEurPerHour = 6,
            Time = new(10, 3, 2, 1, 50),
        };
        var cube = Solids.Box(new(0, 0, 0), new(20, 20, 20));
        var lies = new Orientation(s_up, 0, 4000, 0, 20, 45, 0, 0, 0);
        var e = PrintEstimate.Of(cube, lies, profile, s_run);
        // Skin 2400 mm³, the rest 5600 at a fifth.
        e.MaterialMm3.Should().BeApproximately(2400 + 1120, 1e-6);
        e.SupportMm3.Should().Be(2000);
        e.Layers.Should().Be(100);
        e.TimeMin.Should().BeApproximately(10 + 5 + (3.52 * 2) + 2, 1e-9);
        e.TimeHighMin.Should().BeApproximately(1.5 * e.TimeMin, 1e-9);
        e.TimeLowMin.Should().BeApproximately(0.5 * e.TimeMin, 1e-9);
        e.MassG.Should().BeApproximately(3.52 * 1.2, 1e-9);
        e.CostEur.Should().BeApproximately((3.52 * 1.2 * 0.05) + (2 * 0.01) + (e.TimeMin / 10), 1e-9);
        // A shell of 50/45 keeps 381 703.507 mm³, 0.42 kg of resin at 1.1 g/cm³ (reference-values.md, section 3).
        (381703.507 / 1000 * Profiles.Vat.DensityGPerCm3).Should().BeApproximately(420, 1);
    }

    [Fact]
    public void Parts_on_a_plate_never_come_nearer_than_the_gap()
    {
        var profile = Profiles.Extrusion with { BuildVolumeMm = new(120, 100, 80) };
        Gen.Select(Gen.Double[4, 30], Gen.Double[4, 30], Gen.Double[-50, 50]).Array[1, 9].Sample(sizes =>
        {
            var parts = sizes.Select((s, i) => i % 2 == 0
                ? Solids.Box(new(s.Item3, -s.Item3, s.Item3), new(s.Item3 + s.Item1, s.Item2 - s.Item3, s.Item3 + 5))
                : Solids.Icosphere(1, s.Item1 / 2, new(s.Item3, 3, 9))).ToArray();
            var placed = Nest.Place(parts, profile, 2, 0.5, s_run);
            var boxes = placed.Select(p => (p.Plate, Mesh: Moved(parts[p.Part], p))).ToArray();
            for (var i = 0; i < boxes.Length; i++)
            {
                var bounds = boxes[i].Mesh.BoundsMm();
                new Box3(new(-1e-3, -1e-3, -1e-3), profile.BuildVolumeMm).Contains(bounds.Min).Should().BeTrue();
                new Box3(Vec3.Zero, profile.BuildVolumeMm + new Vec3(1e-3, 1e-3, 1e-3)).Contains(bounds.Max).Should().BeTrue();
                bounds.Min.Z.Should().BeApproximately(0, 1e-4);
                for (var j = i + 1; j < boxes.Length; j++)
                    if (boxes[i].Plate == boxes[j].Plate && IsConvexPair(i, j))
                        Apart(boxes[i].Mesh, boxes[j].Mesh).Should().BeGreaterThan(2 - 1e-3);
            }
        }, iter: 12, threads: 1);

        static bool IsConvexPair(int i, int j) => i != j;
    }

    [Fact]
    public void A_part_fits_into_the_arm_of_another()
    {
        // An L of 100 × 100 with arms of 20, and a box of 60 × 60: together on a plate of 110 × 110 because outlines count and not bounds.
        var l = SolidEdit.Apply("test", BooleanOperation.Union, Solids.Box(new(0, 0, 0), new(100, 20, 5)), [Solids.Box(new(0, 0, 0), new(20, 100, 5))], s_run).Mesh;
        var placed = Nest.Place([l, Solids.Box(new(0, 0, 0), new(60, 60, 5))], Profiles.Extrusion with { BuildVolumeMm = new(110, 110, 50) }, 2, 1, s_run);
        placed.Should().OnlyContain(p => p.Plate == 0);
    }

    [Fact]
    public void What_does_not_fit_is_refused_or_goes_on_the_next_plate()
    {
        var small = Profiles.Extrusion with { BuildVolumeMm = new(50, 50, 50) };
        var cube = Solids.Box(new(0, 0, 0), new(30, 30, 30));
        Nest.Place([cube, cube, cube], small, 2, 1, s_run).Select(p => p.Plate).Should().Equal(0, 1, 2);
        ((Action)(() => Nest.Place([Solids.Box(new(0, 0, 0), new(60, 10, 10))], small, 2, 1, s_run))).Should().Throw<CheckFailedException>().Which.Message.Should().Contain("cut-into-parts");
        ((Action)(() => Nest.Place([], small, 2, 1, s_run))).Should().Throw<CheckFailedException>();
        ((Action)(() => Nest.Place([cube], small, -1, 1, s_run))).Should().Throw<PlanException>().Which.Parameter.Should().Be("gapMm");
        var both = FitPlate.Apply(Solids.Merged(cube, cube), small, 2, s_run);
        both.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SeveralPlates);
        both.Effect.VolumeAfterMm3.Should().BeApproximately(54000, 0.1);
        both.Effect.Measures!["parts"].Should().Be(2);
    }

    [Fact]
    public void Voids_stay_in_their_part()
    {
        var hollow = Solids.Merged(Solids.Box(new(0, 0, 0), new(20, 20, 20)), Solids.InsideOut(Solids.Box(new(5, 5, 5), new(15, 15, 15))), Solids.Box(new(100, 0, 0), new(110, 10, 10)));
        var laid = FitPlate.Apply(hollow, Profiles.Extrusion, 5, s_run);
        laid.Effect.Measures!["parts"].Should().Be(2);
        var facts = MeshFacts.Measure(laid.Mesh, s_run);
        facts.Solid.Should().BeTrue();
        facts.VolumeMm3.Should().BeApproximately(8000 - 1000 + 1000, 0.01);
        foreach (var threads in (int[])[1, 2, 3, 16])
            MeshAssert.SameBytes(FitPlate.Apply(hollow, Profiles.Extrusion, 5, new RunContext(threads: threads)).Mesh, laid.Mesh).Should().BeTrue();
    }

    [Fact]
    public void Shrink_is_made_up_for_along_each_axis()
    {
        var cube = Solids.Box(new(0, 0, 0), new(100, 100, 100));
        var profile = Profiles.Extrusion with { ShrinkPercent = new(1, 2, 0) };
        var made = CompensateShrink.Apply(cube, profile, s_run);
        var size = made.Mesh.BoundsMm().Size;
        (size.X * 0.99).Should().BeApproximately(100, 1e-4);
        (size.Y * 0.98).Should().BeApproximately(100, 1e-4);
        size.Z.Should().BeApproximately(100, 1e-4);
        made.Mesh.BoundsMm().Min.Z.Should().BeApproximately(0, 1e-5);
        made.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.ShrinkCompensated);
    }

    private static Mesh Moved(Mesh mesh, PlacedPart place)
    {
        var (sin, cos) = Math.SinCos(place.TurnDeg * Math.PI / 180);
        return Solids.Moved(mesh, (_, p) => new Vec3((p.X * cos) - (p.Y * sin), (p.X * sin) + (p.Y * cos), p.Z) + place.ShiftMm);
    }

    /// <summary>Least distance of the two shadows' corners to the other's sides; both are convex.</summary>
    private static double Apart(Mesh a, Mesh b)
    {
        static Vec3 Flat(Vec3 p) => p with { Z = 0 };
        var fa = Solids.Moved(a, (_, p) => Flat(p));
        var fb = Solids.Moved(b, (_, p) => Flat(p));
        var least = double.PositiveInfinity;
        for (var v = 0; v < fa.VertexCount; v++)
            least = Math.Min(least, MeshAssert.Distance(fa.Vertex(v), fb));
        for (var v = 0; v < fb.VertexCount; v++)
            least = Math.Min(least, MeshAssert.Distance(fb.Vertex(v), fa));
        return least;
    }
}
