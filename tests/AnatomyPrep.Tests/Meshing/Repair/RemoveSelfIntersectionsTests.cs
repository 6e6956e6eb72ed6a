using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Repair;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Repair;

public class RemoveSelfIntersectionsTests
{
    private static readonly RunContext s_run = RunContext.Default;

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_fold_in_a_flat_sheet_is_laid_flat_again_and_nothing_far_from_it_changes()
    {
        var flat = RepairMeshes.Sheet(30, 30, 1);
        // Vertex (15, 15) pushed out of its ring within the plane: the triangles before it turn over and lie on others.
        var folded = WithVertex(flat, (15 * 31) + 15, new Vec3(16.6, 15.3, 0));
        Pairs(folded).Should().BePositive();

        var result = RemoveSelfIntersections.Apply(folded, new(), s_run);

        Pairs(result.Mesh).Should().Be(0);
        ShouldBeLocal(folded, result.Mesh);
        // Thin plate or least surface over a flat rim is flat; float32 at 30 mm has steps of 2e-6 mm.
        Enumerable.Range(0, result.Mesh.VertexCount).Max(v => Math.Abs(result.Mesh.Vertex(v).Z)).Should().BeLessThan(1e-5);
        MeshMeasures.AreaMm2(result.Mesh).Should().BeApproximately(900, 1e-3);
        result.Effect.Measures!["meetingPairsBefore"].Should().Be(Pairs(folded));
        result.Effect.Measures["meetingPairsAfter"].Should().Be(0);
        // It comes back inside its ring, whose farthest corner is sqrt 2 from its centre: pushed by 1.63, moved by at most 1.63 + sqrt 2.
        result.Effect.MaxDisplacementMm.Should().BeInRange(0, 3.05);
        result.Findings.Should().ContainSingle().Which.Code.Should().Be(FindingCodes.SelfIntersectionsRemoved);
        RemoveSelfIntersections.Apply(result.Mesh, new(), s_run).Mesh.Should().BeSameAs(result.Mesh);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_sheet_that_passes_through_itself_comes_apart_there()
    {
        // A strip that runs along x, turns up and back in an arc and comes down through where it began.
        var strip = Mapped(RepairMeshes.Sheet(150, 20, 1), p => p.X < 60 ? p : Arc(p));
        Pairs(strip).Should().BePositive();

        var result = RemoveSelfIntersections.Apply(strip, new(), s_run);

        Pairs(result.Mesh).Should().Be(0);
        ShouldBeLocal(strip, result.Mesh);
        EdgeTable.Build(result.Mesh).NonManifoldEdges.Should().Be(0);

        static Vec3 Arc(Vec3 p)
        {
            // Three quarters of a circle of radius 12.3, then straight down.
            double turned = (p.X - 60) / 12.3, end = 1.5 * Math.PI;
            return turned <= end
                ? new(60 + (12.3 * Math.Sin(turned)), p.Y, 12.3 - (12.3 * Math.Cos(turned)))
                : new(60 + (12.3 * Math.Sin(end)), p.Y, 12.3 - (12.3 * (turned - end)));
        }
    }

    /// <summary>
    /// A tube of radius 3 that runs along x, turns three quarters of a circle and crosses itself at a right angle, axes meeting:
    /// both legs have the Steinmetz solid of 16 r³/3 = 144 mm³ in common, which the signed volume counts twice. A prism of 48
    /// sides has sin(2π/48)/(2π/48) = 0.9971 of the circle's area, and its width is 0.9979 of it, so the common part lies within 1 %.
    /// </summary>
    [Fact]
    [Trait("Kind", "Truth")]
    public void A_tube_that_passes_through_itself_is_joined_there_and_what_lies_inside_goes()
    {
        var tube = AlphaTube(3, 10, 48);
        Pairs(tube).Should().BePositive();

        var result = RemoveSelfIntersections.Apply(tube, new(), s_run);

        result.Effect.Measures!["placesFused"].Should().BePositive();
        result.Effect.Measures["partsSevered"].Should().Be(0);
        Pairs(result.Mesh).Should().Be(0);
        var whole = RemoveDegenerates.Apply(result.Mesh, new(), s_run).Mesh;
        MeshFacts.Measure(whole, s_run).Should().BeEquivalentTo(new { Components = 1, Genus = 1, Solid = true });
        (result.Effect.VolumeBeforeMm3 - result.Effect.VolumeAfterMm3).Should().BeApproximately(144, 1.44);
        ShouldBeLocal(tube, result.Mesh);

        // Facing inward all over it is the same work.
        var turned = RemoveSelfIntersections.Apply(tube.Turned(), new(), s_run);
        turned.Effect.Measures!["placesFused"].Should().BePositive();
        (turned.Effect.VolumeAfterMm3 - turned.Effect.VolumeBeforeMm3).Should().BeApproximately(144, 1.44);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Separate_pieces_that_cross_are_left_to_a_boolean_and_named()
    {
        var mesh = TestMeshes.Join(TestMeshes.Icosphere(3, 10), TestMeshes.Icosphere(3, 10, new Vec3(12, 0, 0)));

        var result = RemoveSelfIntersections.Apply(mesh, new(OpenWhatStays: true), s_run);

        result.Mesh.Should().BeSameAs(mesh);
        var finding = result.Findings.Should().ContainSingle().Which;
        finding.Code.Should().Be(FindingCodes.PiecesCross);
        // Both spheres have the circle of radius 8 in the plane x = 6; a corner of a triangle there is at most an edge away.
        finding.Place!.PositionMm!.Value.X.Should().BeInRange(3, 9);
        result.Effect.Measures!["meetingPairsBetweenPieces"].Should().Be(result.Effect.Measures["meetingPairsBefore"]);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Clean_meshes_come_back_as_they_are()
    {
        foreach (var mesh in (Mesh[])[TestMeshes.Icosphere(3, 10), RepairMeshes.Sheet(5, 5, 1), RepairMeshes.Tube(5, 20, 12, 10), Mesh.Empty])
            RemoveSelfIntersections.Apply(mesh, new(), s_run).Mesh.Should().BeSameAs(mesh);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Crumpled_spheres_come_back_closed_and_whole_with_fewer_pairs_each_round() =>
        Gen.Select(Gen.Int[0, 100_000], Gen.Int[1, 25]).Sample(
            (seed, folds) =>
            {
                var random = new Random(seed);
                var sphere = TestMeshes.Icosphere(4, 50);
                var mesh = sphere;
                for (var i = 0; i < folds; i++)
                {
                    var v = random.Next(sphere.VertexCount);
                    // Up to three edges (about 3.5 mm each) along the surface, up to one off it.
                    mesh = WithVertex(mesh, v, mesh.Vertex(v) + (new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5) * 14));
                }

                var tree = TriangleTree.Build(mesh, s_run);
                var found = SelfIntersections.Find(tree, EdgeTable.Build(mesh), s_run).Pairs;
                var editor = new CrossingEditor(mesh, tree, found, new int[mesh.TriangleCount]);
                editor.Run(20, openWhatStays: false, "test", s_run);
                editor.PairsByRound.Should().OnlyHaveUniqueItems().And.BeInDescendingOrder();
                editor.PairsByRound[0].Should().Be(found.Count);

                var result = RemoveSelfIntersections.Apply(mesh, new(), s_run);
                Pairs(result.Mesh).Should().Be(0);
                RepairMeshes.ShouldBeClosed(result.Mesh);
                RepairMeshes.Euler(result.Mesh).Should().Be(2);
                ShouldBeLocal(mesh, result.Mesh);
                // What is left of the spheres' volume: the largest fold reaches 12 mm off over a star of about 40 mm2.
                var volume = MeshMeasures.SignedVolumeMm3(sphere);
                result.Effect.VolumeAfterMm3!.Value.Should().BeApproximately(volume, folds * 12.2 * 40);
            },
            iter: 15);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Soups_lose_pairs_or_come_back_and_open_ones_keep_none_that_a_quarter_of_their_piece_does_not_share() =>
        Gen.Int[0, 1_000_000].Sample(
            seed =>
            {
                var mesh = RepairMeshes.RandomSoup(seed);
                foreach (var open in (bool[])[false, true])
                {
                    var result = RemoveSelfIntersections.Apply(mesh, new(OpenWhatStays: open), s_run);
                    if (!ReferenceEquals(result.Mesh, mesh))
                        Pairs(result.Mesh).Should().BeLessThan(Pairs(mesh));
                    if (Pairs(result.Mesh) > 0)
                        result.Findings.Should().Contain(f => f.Code == FindingCodes.SelfIntersectionKept || f.Code == FindingCodes.PiecesCross);
                }
            },
            iter: 200);

    [Fact]
    [Trait("Kind", "Truth")]
    public void What_is_a_fault_nearly_everywhere_is_not_repaired_but_named_with_its_place()
    {
        // A closed pillow without thickness: both sides lie in one plane, cut along different diagonals.
        var crossed = RepairMeshes.FromPoints([new(0, 0, 0), new(4, 0, 0), new(4, 4, 0), new(0, 4, 0)], [(0, 1, 2), (0, 2, 3), (0, 3, 1), (1, 3, 2)]);
        Pairs(crossed).Should().BePositive();

        var result = RemoveSelfIntersections.Apply(crossed, new(OpenWhatStays: true), s_run);

        ReferenceEquals(result.Mesh, crossed).Should().BeTrue();
        var kept = result.Findings.Should().ContainSingle(f => f.Code == FindingCodes.SelfIntersectionKept).Which;
        kept.Severity.Should().Be(Severity.Caution);
        kept.Place!.PositionMm.Should().NotBeNull();
        kept.Place.FirstTriangle.Should().NotBeNull();
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Bytes_are_the_same_on_any_number_of_threads()
    {
        var mesh = Crumpled(TestMeshes.Icosphere(5, 50), 30, 7);
        var hashes = ((int[])[1, 2, 3, 16]).Select(n => RepairMeshes.Hash(RemoveSelfIntersections.Apply(mesh, new(), RepairMeshes.Threads(n)).Mesh));
        hashes.Distinct().Should().ContainSingle();
    }

    /// <summary>Counts of crossing pairs before: data/PROVENANCE.md.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [Trait("Needs", "Shared")]
    [InlineData("self_intersectA.obj")]
    [InlineData("head-scan-lps.obj")]
    public void Real_surfaces_lose_all_their_crossings_and_change_only_near_them(string name)
    {
        var mesh = RemoveDegenerates.Apply(FixTopology.Apply(TestMeshes.Shared(name).Welded(), new(), s_run).Mesh, new(), s_run).Mesh;
        Pairs(mesh).Should().BeGreaterThan(200);

        var result = RemoveSelfIntersections.Apply(mesh, new(), s_run);

        Pairs(result.Mesh).Should().Be(0);
        RepairMeshes.ShouldBeClosed(result.Mesh);
        ShouldBeLocal(mesh, result.Mesh);
    }

    private static int Pairs(Mesh mesh) => SelfIntersections.Find(mesh, s_run).Pairs.Count;

    /// <summary>
    /// Triangles whose corners are all farther than three edge lengths from every corner of a fault, as the crow flies (which is
    /// no farther than along edges, so this asks less), are there with the same bytes, unless the surface already winds around
    /// the place before them: then they were hidden.
    /// </summary>
    private static void ShouldBeLocal(Mesh before, Mesh after)
    {
        var faults = SelfIntersections.Find(before, s_run).Pairs.SelectMany(p => (int[])[p.First, p.Second]).Distinct().ToArray();
        var mean = Enumerable.Range(0, before.TriangleCount).Average(t => MeanEdge(before, t));
        var near = new bool[before.VertexCount];
        foreach (var t in faults)
        {
            var reach = 3 * Math.Max(mean, MeanEdge(before, t));
            foreach (var corner in Corners(before, t))
                for (var v = 0; v < near.Length; v++)
                    near[v] |= Vec3.Distance(before.Local(v), before.Local(corner)) <= reach;
        }

        var kept = RepairMeshes.TriangleBytes(after, t => after.Origins[t] == Origin.Measured);
        var far = Enumerable.Range(0, before.TriangleCount).Where(t => !Corners(before, t).Any(v => near[v])).ToList();
        far.Should().NotBeEmpty();
        far.Where(t => !kept.Contains(RepairMeshes.TriangleKey(before, t))).All(t => IsHidden(before, t)).Should().BeTrue();
    }

    private static bool IsHidden(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        Vec3 p = mesh.Vertex(a), q = mesh.Vertex(b), r = mesh.Vertex(c);
        return WindingNumber.Exact(mesh, ((p + q + r) / 3) + (Vec3.Cross(q - p, r - p).Normalized() * 1e-3 * MeanEdge(mesh, t))) > 0.5;
    }

    /// <summary>A closed tube along an alpha: a leg of twice the turn's radius, three quarters of a turn, and a leg across the first.</summary>
    private static Mesh AlphaTube(double radiusMm, double turnMm, int around)
    {
        var leg = 2 * turnMm;
        var arc = 1.5 * Math.PI * turnMm;
        var steps = (int)((2 * leg) + arc);
        var points = new List<Vec3>();
        for (var k = 0; k <= steps; k++)
        {
            var (at, side) = Alpha(((2 * leg) + arc) * k / steps, leg, turnMm);
            for (var i = 0; i < around; i++)
            {
                // Twisted a little, so that no edges of both legs lie at one height.
                var angle = (2 * Math.PI * i / around) + (0.0021 * k);
                points.Add(at + (side * (radiusMm * Math.Cos(angle))) + new Vec3(0, 0, radiusMm * Math.Sin(angle)));
            }
        }

        var faces = new List<(int, int, int)>();
        for (var k = 0; k < steps; k++)
        {
            for (var i = 0; i < around; i++)
            {
                int a = (k * around) + i, b = (k * around) + ((i + 1) % around);
                faces.AddRange([(a, b + around, b), (a, a + around, b + around)]);
            }
        }

        var (first, last) = (points.Count, steps * around);
        points.AddRange([Alpha(0, leg, turnMm).At, Alpha((2 * leg) + arc, leg, turnMm).At]);
        for (var i = 0; i < around; i++)
        {
            var next = (i + 1) % around;
            faces.AddRange([(first, i, next), (first + 1, last + next, last + i)]);
        }

        var tube = RepairMeshes.FromPoints([.. points], [.. faces]);
        return MeshMeasures.SignedVolumeMm3(tube) > 0 ? tube : tube.Turned();
    }

    /// <summary>Point of the path at a length along it, and the direction across it in its plane.</summary>
    private static (Vec3 At, Vec3 Side) Alpha(double along, double leg, double turnMm)
    {
        var angle = (along - leg) / turnMm;
        if (angle <= 0)
            return (new(along - leg + turnMm, 0, 0), new(0, 1, 0));
        if (angle >= 1.5 * Math.PI)
            return (new(0, turnMm - ((angle - (1.5 * Math.PI)) * turnMm), 0), new(1, 0, 0));
        return (new(turnMm + (turnMm * Math.Sin(angle)), turnMm - (turnMm * Math.Cos(angle)), 0), new(-Math.Sin(angle), Math.Cos(angle), 0));
    }

    private static int[] Corners(Mesh mesh, int t) => mesh.Triangles.Slice(3 * t, 3).ToArray();

    private static double MeanEdge(Mesh mesh, int t)
    {
        var (a, b, c) = mesh.Triangle(t);
        return (Vec3.Distance(mesh.Local(a), mesh.Local(b)) + Vec3.Distance(mesh.Local(b), mesh.Local(c)) + Vec3.Distance(mesh.Local(c), mesh.Local(a))) / 3;
    }

    private static Mesh Crumpled(Mesh mesh, int folds, int seed)
    {
        var random = new Random(seed);
        for (var i = 0; i < folds; i++)
        {
            var v = random.Next(mesh.VertexCount);
            mesh = WithVertex(mesh, v, mesh.Vertex(v) + (new Vec3(random.NextDouble() - 0.5, random.NextDouble() - 0.5, random.NextDouble() - 0.5) * 10));
        }

        return mesh;
    }

    private static Mesh WithVertex(Mesh mesh, int v, Vec3 at)
    {
        var positions = mesh.Positions.ToArray();
        (positions[3 * v], positions[(3 * v) + 1], positions[(3 * v) + 2]) = ((float)at.X, (float)at.Y, (float)at.Z);
        return new(mesh.OriginMm, positions, mesh.TriangleArray, mesh.OriginArray);
    }

    private static Mesh Mapped(Mesh mesh, Func<Vec3, Vec3> map)
    {
        for (var v = 0; v < mesh.VertexCount; v++)
            mesh = WithVertex(mesh, v, map(mesh.Vertex(v)));
        return mesh;
    }
}
