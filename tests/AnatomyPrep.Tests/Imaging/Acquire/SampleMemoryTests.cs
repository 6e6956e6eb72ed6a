using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Imaging.Segment;
using AnatomyPrep.Meshing.Surface;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Volumes that lie in a mapped file.</summary>
public sealed unsafe class SampleMemoryTests
{
    private const int Side = 40;

    [Fact]
    [Trait("Kind", "Truth")]
    public void A_volume_in_a_mapped_file_gives_the_same_surface_as_one_in_memory()
    {
        using var inMemory = Ball(new NativeBuffer<short>(Side * Side * Side));
        using var onDisk = Ball(SampleMemory.Mapped(Side * Side * Side));
        var expected = Surface(inMemory);
        var mesh = Surface(onDisk);
        mesh.TriangleArray.Should().Equal(expected.TriangleArray);
        mesh.PositionArray.Should().Equal(expected.PositionArray);
        mesh.TriangleCount.Should().BePositive();
    }

    [Fact]
    public void Samples_in_a_mapped_file_are_written_and_let_go_like_those_in_memory()
    {
        var mapped = SampleMemory.Mapped(1000);
        mapped[999] = 7;
        mapped[999].Should().Be(7);
        mapped.Dispose();
        mapped.IsClosed.Should().BeTrue();
        FluentActions.Invoking(() => (nint)mapped.Pointer).Should().Throw<ObjectDisposedException>();
    }

    private static Mesh Surface(Volume volume)
    {
        using var region = Threshold.Apply(volume, new HuWindow(300, short.MaxValue), RunContext.Default);
        return FlyingEdges.Extract(volume, region, RunContext.Default).Mesh;
    }

    private static Volume Ball(NativeBuffer<short> samples)
    {
        var middle = new Vec3(1, 1, 1) * ((Side - 1) / 2.0);
        for (var at = 0; at < samples.Length; at++)
            samples[at] = (short)(300 + (50 * (15 - Vec3.Distance(middle, new(at % Side, at / Side % Side, at / (Side * Side))))));
        return new(Side, Side, samples, new IndexToPatient(new Vec3(0.5, 0, 0), new Vec3(0, 0.5, 0), [.. Enumerable.Range(0, Side).Select(k => new Vec3(0, 0, 0.5 * k))]));
    }
}
