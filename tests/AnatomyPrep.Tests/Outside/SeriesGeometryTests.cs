using System.Globalization;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Tests.Phantoms;

namespace AnatomyPrep.Tests.Outside;

/// <summary>Every corner of every slice of the real series lies within 0.01 mm of where pydicom 2.3 and equation C.7.6.2.1-1 of PS3.3 put it.</summary>
[Trait("Kind", "Outside")]
[Trait("Needs", "Shared")]
public sealed class SeriesGeometryTests
{
    private const double BoundMm = 0.01;

    private const string Script = """
        import os, sys, numpy as np, pydicom
        slices = []
        for folder, _, names in os.walk(sys.argv[1]):
            for name in names:
                d = pydicom.dcmread(os.path.join(folder, name), stop_before_pixels=True)
                if d.Modality != 'CT' or 'ImagePositionPatient' not in d or 'LOCALIZER' in d.get('ImageType', []) or 'SECONDARY' in d.get('ImageType', []):
                    continue
                o = [float(v) for v in d.ImageOrientationPatient]
                s = np.array([float(v) for v in d.ImagePositionPatient])
                x, y = np.array(o[:3]) * float(d.PixelSpacing[1]), np.array(o[3:]) * float(d.PixelSpacing[0])
                n = np.cross(o[:3], o[3:])
                corners = [s + x * i + y * j for j in (0, d.Rows - 1) for i in (0, d.Columns - 1)]
                slices.append((float(np.dot(n, s)), corners))
        for _, corners in sorted(slices, key=lambda s: s[0]):
            print(' '.join(repr(float(v)) for c in corners for v in c))
        """;

    [Theory]
    [InlineData("head-phantom-1mm", 140)]
    [InlineData("head-phantom-tilt-minus", 54)]
    [InlineData("head-human-tilt-uneven", 28)]
    [InlineData("chest-human-1mm-overlap", 56)]
    [InlineData("body-human-feet-first-padding", 3)]
    [InlineData("geometry-tilt-14", 4)]
    [InlineData("mixed-folder", 12)]
    public void Slices_lie_where_an_outside_reader_puts_them(string name, int slices)
    {
        using var series = TestProgramReader.Load(SharedData.Series(name), null, RunContext.Default);
        var (exit, output, errors) = Tool.Run("/usr/bin/python3", "-c", Script, SharedData.Series(name));
        exit.Should().Be(0, errors);
        var theirs = output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(l => l.Split(' ').Select(w => double.Parse(w, CultureInfo.InvariantCulture)).ToArray()).ToArray();
        theirs.Should().HaveCount(slices);
        var volume = series.Volume;
        volume.Slices.Should().Be(slices);
        for (var k = 0; k < slices; k++)
            for (var corner = 0; corner < 4; corner++)
            {
                var place = volume.Map.Map(corner % 2 == 0 ? 0 : volume.Columns - 1, corner < 2 ? 0 : volume.Rows - 1, k);
                var expected = new Vec3(theirs[k][3 * corner], theirs[k][(3 * corner) + 1], theirs[k][(3 * corner) + 2]);
                Vec3.Distance(place, expected).Should().BeLessThan(BoundMm, "of corner {0} of slice {1}", corner, k);
            }
    }

    private static DicomSource TestProgramReader { get; } = new(TestProgram.Reader);
}
