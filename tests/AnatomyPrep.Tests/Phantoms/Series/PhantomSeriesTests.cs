using System.Security.Cryptography;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Dicom;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Series;

namespace AnatomyPrep.Tests.Phantoms.Series;

public sealed class PhantomSeriesTests
{
    private static readonly Vec3 s_coarse = new(2.7, 3.1, 4.3);

    [Fact]
    [Trait("Kind", "Outside")]
    public void An_outside_reader_gets_the_same_values_at_the_same_places()
    {
        using var folder = new TestFolder();
        var variants = Variants().ToArray();
        var folders = variants.Select((_, i) => folder[FormattableString.Invariant($"v{i}")]).ToArray();
        for (var i = 0; i < variants.Length; i++)
            variants[i].Series.Write(folders[i], RunContext.Default, new SeriesLayout { NameOrder = SliceOrder.Scrambled });
        var read = OutsideReader.Read(folders);
        for (var i = 0; i < variants.Length; i++)
        {
            var (name, series) = variants[i];
            using var volume = series.ToVolume(RunContext.Default);
            read[i].Columns.Should().Be(volume.Columns, name);
            read[i].Rows.Should().Be(volume.Rows, name);
            read[i].Positions.Should().HaveCount(volume.Slices, name);
            for (var slice = 0; slice < volume.Slices; slice++)
            {
                var place = volume.Map.Map(0, 0, slice);
                read[i].Positions[slice].Should().Equal(place.X, place.Y, place.Z);
                volume.Slice(slice).SequenceEqual(read[i].Hu.AsSpan(slice * volume.Columns * volume.Rows, volume.Columns * volume.Rows))
                    .Should().BeTrue("of {0}, slice {1}", name, slice);
            }

            var o = read[i].Orientation;
            volume.Map.ColumnStepMm.Should().Be(new Vec3(o[0], o[1], o[2]) * read[i].PixelSpacing[1], name);
            volume.Map.RowStepMm.Should().Be(new Vec3(o[3], o[4], o[5]) * read[i].PixelSpacing[0], name);
            volume.Map.IsRightHanded.Should().BeTrue(name);
        }
    }

    [Fact]
    [Trait("Kind", "Outside")]
    public void The_left_letter_is_on_the_left_and_reads_as_written_however_the_series_lies()
    {
        // Seen through the outside reader alone: of all samples at or above 500 HU between 1 and 3 mm in front of the face,
        // those at larger x lie in the L and those at smaller x in the R. A mirrored letter fails: both are chiral.
        using var folder = new TestFolder();
        var orientations = SliceOrientation.AllAxisOrders();
        var folders = new List<string>();
        for (var i = 0; i < orientations.Count; i += 3)
        {
            var series = PhantomCatalogue.Create("wedge", new PhantomOptions { SpacingMm = new Vec3(1.1, 1.3, 1.2), Orientation = orientations[i], GantryTiltDeg = i % 2 == 0 ? 15 : -20 });
            folders.Add(folder[FormattableString.Invariant($"o{i}")]);
            series.Write(folders[^1], RunContext.Default);
        }

        foreach (var read in OutsideReader.Read(folders))
        {
            int onLeft = 0, onRight = 0, astray = 0;
            foreach (var p in Bright(read, 500).Where(p => p.Y is > -3 and < -1))
            {
                var (letter, corner) = p.X > 0 ? (WedgeScene.LetterL, WedgeScene.s_leftCornerMm) : (WedgeScene.LetterR, WedgeScene.s_rightCornerMm);
                onLeft += p.X > 0 ? 1 : 0;
                onRight += p.X > 0 ? 0 : 1;
                astray += Inside(letter, p.X - corner.X, p.Z - corner.Z) ? 0 : 1;
            }

            astray.Should().Be(0);
            // Their areas are 165 and 285.9 mm², ratio 1.73. A rim of half a sample, 0.6 mm along outlines of 76 and 111 mm,
            // may count or not: 165 ± 23 and 286 ± 33.
            onLeft.Should().BeGreaterThan(80);
            ((double)onRight / onLeft).Should().BeInRange(253 / 188.0, 319 / 142.0);
        }
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Bytes_are_the_same_on_one_two_three_and_sixteen_threads()
    {
        var series = PhantomCatalogue.Create("wedge", new PhantomOptions { SpacingMm = new Vec3(1.5, 1.5, 2), Seed = 77, NoiseSigmaHu = 25 });
        var hashes = ((int[])[1, 2, 3, 16]).Select(threads =>
        {
            using var folder = new TestFolder();
            var written = series.WriteWithTruth(folder.Path, new RunContext(threads: threads), new SeriesLayout { NameOrder = SliceOrder.Scrambled });
            using var volume = series.ToVolume(new RunContext(threads: threads));
            using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
            foreach (var file in written.Files)
            {
                hash.AppendData(System.Text.Encoding.UTF8.GetBytes(file));
                hash.AppendData(File.ReadAllBytes(Path.Combine(written.SeriesFolder, file)));
            }

            for (var slice = 0; slice < volume.Slices; slice++)
                hash.AppendData(System.Runtime.InteropServices.MemoryMarshal.AsBytes(volume.Slice(slice)));
            hash.AppendData(File.ReadAllBytes(written.TruthFile));
            return Convert.ToHexString(hash.GetHashAndReset());
        }).ToArray();
        hashes.Distinct().Should().HaveCount(1);
    }

    [Fact]
    [Trait("Kind", "Same")]
    public void Another_seed_gives_other_noise_and_other_identifiers()
    {
        var options = new PhantomOptions { SpacingMm = s_coarse, NoiseSigmaHu = 10 };
        var (one, other) = (PhantomCatalogue.Create("sphere-in-water", options), PhantomCatalogue.Create("sphere-in-water", options with { Seed = 2 }));
        other.SeriesUid.Should().NotBe(one.SeriesUid);
        other.StudyUid.Should().NotBe(one.StudyUid);
        using var a = one.ToVolume(RunContext.Default);
        using var b = other.ToVolume(RunContext.Default);
        a.Slice(0).SequenceEqual(b.Slice(0)).Should().BeFalse();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Slices_can_be_left_out_doubled_and_numbered_against_the_normal()
    {
        using var folder = new TestFolder();
        var series = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = new Vec3(6, 6, 6) }) with { InstanceOrder = SliceOrder.AgainstNormal };
        var files = series.Write(folder.Path, RunContext.Default, new SeriesLayout { Omitted = [3], Doubled = [5], NamePrefix = "A" });
        files.Should().HaveCount(series.Slices).And.OnlyHaveUniqueItems().And.OnlyContain(f => f.StartsWith('A'));
        var read = OutsideReader.Read([folder.Path])[0];
        using var volume = series.ToVolume(RunContext.Default);
        var places = Enumerable.Range(0, series.Slices).Where(k => k != 3).Append(5).Order().Select(k => volume.Map.Map(0, 0, k).Z);
        read.Positions.Select(p => p[2]).Should().Equal(places);
        read.InstanceNumbers.Should().BeInDescendingOrder().And.HaveElementAt(0, series.Slices);
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Scrambled_names_follow_neither_position_nor_instance_number()
    {
        using var folder = new TestFolder();
        var series = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = new Vec3(6, 6, 1) });
        var files = series.Write(folder.Path, RunContext.Default, new SeriesLayout { NameOrder = SliceOrder.Scrambled });
        files.Order(StringComparer.Ordinal).Should().NotEqual(files);
        files.Should().OnlyHaveUniqueItems().And.HaveCount(series.Slices);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Cancelling_leaves_no_file_behind()
    {
        using var folder = new TestFolder();
        using var cancel = new CancellationTokenSource();
        var series = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = new Vec3(4, 4, 1) });
        var write = () => series.Write(folder["series"], new RunContext(cancellation: cancel.Token), new SeriesLayout
        {
            Change = (slice, _) =>
            {
                if (slice == series.Slices / 2)
                    cancel.Cancel();
            },
        });
        write.Should().Throw<OperationCanceledException>();
        Directory.GetFiles(folder["series"]).Should().BeEmpty();
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Stored_values_are_clipped_where_the_bits_end()
    {
        // Unsigned 12 bits with intercept -1024: -1024 to 3071 HU; 1000 HU of bone at a slope of 0.25 need stored 8096: clipped to 4095, that is -0.25 HU.
        var series = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = s_coarse }) with
        {
            Stored = new StoredFormat { BitsStored = 12, Signed = false, Rescales = [new Rescale(0.25, -1024)] },
        };
        using var volume = series.ToVolume(RunContext.Default);
        var middle = volume.Map.Invert(new Vec3(0, 0, 0));
        volume[(int)middle.X, (int)middle.Y, (int)middle.Z].Should().Be(0);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Formats_that_cannot_be_stored_are_refused()
    {
        var series = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = s_coarse });
        foreach (var format in (StoredFormat[])[new() { BitsStored = 10 }, new() { Rescales = [] }, new() { Rescales = [new Rescale(0, 0)] }, new() { BitsStored = 12, PaddingStored = -3000 }])
        {
            var ask = () => (series with { Stored = format }).FileOf(0);
            ask.Should().Throw<ArgumentException>();
        }
    }

    private static IEnumerable<(string Name, PhantomSeries Series)> Variants()
    {
        PhantomSeries Make(string name, SliceOrientation? orientation = null, double tilt = 0) => PhantomCatalogue.Create(
            name, new PhantomOptions { SpacingMm = s_coarse, Orientation = orientation, GantryTiltDeg = tilt, NoiseSigmaHu = 20 });
        var head = Make("wedge");
        yield return ("as it is", head);
        foreach (var orientation in SliceOrientation.AllAxisOrders().Where((_, i) => i % 4 == 1))
            yield return ($"orientation {orientation}", Make("wedge", orientation));
        yield return ("coronal", Make("vessel", SliceOrientation.Coronal));
        yield return ("sagittal", Make("vessel", SliceOrientation.Sagittal));
        yield return ("oblique", Make("wedge", SliceOrientation.Axial.Turned(new Vec3(1, 2, -1), 33)));
        yield return ("tilt 15", Make("wedge", tilt: 15));
        yield return ("tilt -20", Make("wedge", tilt: -20));
        yield return ("tilt and turned table", Make("wedge", SliceOrientation.AllAxisOrders()[5].Turned(new Vec3(0, 0, 1), 5), 11));
        yield return ("uneven", head with { Acquisition = head.Acquisition with { TablePositionsMm = [-20, -18.25, -10, 0.125, 3, 4, 19] } });
        yield return ("positions in any order", head with { Acquisition = head.Acquisition with { TablePositionsMm = [4, -20, 19, 0.5] } });
        yield return ("rescale per slice", head with { Stored = new StoredFormat { Rescales = [new Rescale(1, -1024), new Rescale(0.37, -300.5), new Rescale(2, 0)] } });
        yield return ("12 bits unsigned, padded", head with
        {
            Acquisition = head.Acquisition with { CircleRadiusMm = 30 },
            Stored = new StoredFormat { BitsStored = 12, Signed = false },
        });
        yield return ("12 bits signed, rubbish above", head with
        {
            Acquisition = head.Acquisition with { CircleRadiusMm = 30 },
            Stored = new StoredFormat { BitsStored = 12, Rescales = [new Rescale(1, 0)], RubbishInUnusedBits = true },
        });
        yield return ("implicit", head with { Stored = new StoredFormat { ImplicitVr = true } });
        yield return ("feet first, prone", head with { PatientPosition = "FFP" });
        yield return ("partial volume", head with { Acquisition = head.Acquisition with { SubsamplesPerAxis = 2 } });
        yield return ("telltales", head with { Identity = Identity.FullOfTelltales(4) });
    }

    private static IEnumerable<Vec3> Bright(OutsideReader read, short levelHu)
    {
        var o = read.Orientation;
        Vec3 alongRow = new Vec3(o[0], o[1], o[2]) * read.PixelSpacing[1], alongColumn = new Vec3(o[3], o[4], o[5]) * read.PixelSpacing[0];
        for (var at = 0; at < read.Hu.Length; at++)
            if (read.Hu[at] >= levelHu)
            {
                var p = read.Positions[at / (read.Columns * read.Rows)];
                yield return new Vec3(p[0], p[1], p[2]) + (alongRow * (at % read.Columns)) + (alongColumn * (at / read.Columns % read.Rows));
            }
    }

    private static bool Inside(IReadOnlyList<IReadOnlyList<(double X, double Y)>> rings, double x, double y)
    {
        var inside = false;
        foreach (var ring in rings)
            for (var i = 0; i < ring.Count; i++)
            {
                var (p, q) = (ring[i], ring[(i + 1) % ring.Count]);
                if ((p.Y > y) != (q.Y > y) && x < p.X + ((y - p.Y) / (q.Y - p.Y) * (q.X - p.X)))
                    inside = !inside;
            }

        return inside;
    }
}
