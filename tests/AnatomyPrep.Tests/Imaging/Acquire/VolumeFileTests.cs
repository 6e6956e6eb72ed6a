using AnatomyPrep.Core.Findings;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>The file that carries HU from child to parent.</summary>
public sealed unsafe class VolumeFileTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void What_another_process_writes_is_mapped_though_the_file_has_no_name()
    {
        using var file = new VolumeFile(1000);
        // The kernel marks an unlinked file so: however this process ends, nothing stays on disk.
        new FileInfo(file.PathForChild).LinkTarget.Should().EndWith("/hu (deleted)");
        using (var writer = System.Diagnostics.Process.Start("sh", ["-c", $"printf '\\001\\002' | dd of={file.PathForChild} conv=notrunc bs=2 seek=3 2>/dev/null"]))
            writer.WaitForExit();
        var samples = file.Map();
        samples[3].Should().Be(0x0201);
        samples[499].Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_volume_that_does_not_fit_on_disk_is_refused_before_anything_is_decoded() =>
        FluentActions.Invoking(() => new VolumeFile(1L << 58)).Should().Throw<BadInputException>().Which.Field.Should().Be("temporary folder");
}
