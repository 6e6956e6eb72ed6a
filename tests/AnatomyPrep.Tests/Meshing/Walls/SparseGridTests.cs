using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Walls;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Walls;

public sealed class SparseGridTests
{
    private static readonly RunContext s_run = new();

    /// <summary>
    /// Every sample of a box around everything is asked one by one. Sampled blocks must say the same of inside and outside, and where
    /// there is no block no cell may have corners of both kinds.
    /// </summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Nothing_that_is_left_out_was_needed() =>
        Gen.Select(Gen.Double[0, 4], Gen.Double[0.3, 1.2], Gen.Double[0.5, 3], Gen.Double[0.2, 0.6], Gen.Bool).Sample(
            (height, wave, thickness, cellMm, closed) =>
            {
                BandField field = closed
                    ? new LevelField(SheetSide.Of(TestMeshes.Torus(5, 2, 30, 16), s_run), thickness - 1.8)
                    : new SheetField(SheetSide.Of(TestMeshes.GridSheet(10, 10, 8, 8, (x, y) => height * Math.Sin(wave * x) * Math.Cos(wave * y)), s_run), -thickness / 3, thickness);
                var box = closed ? new Box3(new(-9, -9, -4), new(9, 9, 4)) : new Box3(new(-4, -4, -8), new(12, 12, 8));
                using var grid = SparseGrid.Sample("test", field, box, 100, cellMm, s_run);
                Compare(grid, field, box);
            },
            iter: 6);

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Memory_is_asked_for_before_it_is_taken()
    {
        var field = new LevelField(SheetSide.Of(TestMeshes.Icosphere(3, 50), s_run), -3);
        var box = new Box3(new(-50, -50, -50), new(50, 50, 50));
        var fine = () => SparseGrid.Sample("test", field, box, 30_000, 0.02, s_run);
        fine.Should().Throw<BadInputException>().WithMessage("*GB*cellMm*");
        // What the area does not tell beforehand, the blocks do.
        var small = () => SparseGrid.Sample("test", field, box, 1, 0.1, new RunContext(memory: new MemoryBudget(20_000_000)));
        small.Should().Throw<BadInputException>().WithMessage("*cellMm*");
        var endless = () => SparseGrid.Sample("test", field, box, 1e-9, 1e-6, s_run);
        endless.Should().Throw<BadInputException>().WithMessage("*cells along one side*");
    }

    private static unsafe void Compare(SparseGrid grid, BandField field, Box3 box)
    {
        var size = (box.Max - grid.Origin) / grid.CellMm;
        int nx = (int)size.X + 3, ny = (int)size.Y + 3, nz = (int)size.Z + 3;
        var inside = new bool[nx, ny, nz];
        var near = new Neighbours();
        for (var k = 0; k < nz; k++)
            for (var j = 0; j < ny; j++)
                for (var i = 0; i < nx; i++)
                    inside[i, j, k] = field.At(grid.Position(i, j, k), 0, ref near).Bound == Bound.Inside;

        var sampled = 0;
        for (var k = 0; k < nz - 1; k++)
            for (var j = 0; j < ny - 1; j++)
                for (var i = 0; i < nx - 1; i++)
                {
                    int corners = 0, present = 0;
                    for (var c = 0; c < 8; c++)
                    {
                        int x = i + (c & 1), y = j + ((c >> 1) & 1), z = k + (c >> 2);
                        corners += inside[x, y, z] ? 1 : 0;
                        present += grid.BlockAt(x >> 3, y >> 3, z >> 3) >= 0 ? 1 : 0;
                    }

                    if (corners is > 0 and < 8)
                        present.Should().Be(8, "the cell {0}, {1}, {2} holds a piece of the boundary", i, j, k);
                    var block = grid.BlockAt(i >> 3, j >> 3, k >> 3);
                    if (block < 0)
                        continue;
                    sampled++;
                    var bound = grid.Bounds[((long)SparseGrid.BlockSamples * block) + ((k & 7) << 6) + ((j & 7) << 3) + (i & 7)];
                    (bound == Bound.Inside).Should().Be(inside[i, j, k]);
                }

        sampled.Should().BePositive();
    }
}
