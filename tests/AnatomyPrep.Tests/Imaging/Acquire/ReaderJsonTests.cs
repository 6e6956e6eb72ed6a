using System.Text;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Messages between parent and child come back as they were, and nothing else passes for one.</summary>
public sealed class ReaderJsonTests
{
    [Fact]
    [Trait("Kind", "Property")]
    public void Requests_come_back_as_they_were()
    {
        var request = new ReaderRequest(ReaderTask.Decode, 3, [1, 2, 255], "/proc/1/fd/2", [new ReaderItem(0, "/a/ü \" \n.dcm", "D1", [4, -1]), new ReaderItem(1, "b")]);
        ReaderJson.ReadRequest(ReaderJson.Write(request)).Should().BeEquivalentTo(request);
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Replies_come_back_as_they_were()
    {
        var scan = FactsReader.Read(new MemoryBytes(TestCt.Slice(3, 1.0 / 3).With(Tag.SliceThickness, "DS", "0.7").With(Tag.PixelPaddingValue, 63536).Bytes()), [1]);
        var counts = new SliceCounts(-1024, 3071, 1.0 / 3, 1, 2, -900, 3, 4, 5);
        foreach (var reply in new[]
        {
            new ReaderReply(-1, Final: true),
            new ReaderReply(7, Final: true, Scan: scan, Digest: "AB"),
            new ReaderReply(7, Final: true, Scan: new ScanResult(null, new Fault("a", "b", "c", "d")), Digest: "AB"),
            new ReaderReply(8, Final: true, Sha256: "00", Bytes: 1L << 40, Slices: [counts, counts with { MaxPaddedHu = null }]),
        })
            ReaderJson.ReadReply(ReaderJson.Write(reply)).Should().BeEquivalentTo(reply);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_prefix_and_other_shapes_are_refused()
    {
        var whole = ReaderJson.Write(new ReaderReply(8, Final: true, Sha256: "00", Slices: [new SliceCounts(0, 1, 0, 0, 0, null, 0, 0, 0)]));
        for (var length = 0; length < whole.Length; length++)
            FluentActions.Invoking(() => ReaderJson.ReadReply(whole[..length])).Should().Throw<InvalidDataException>();
        foreach (var text in new[] { "[]", "3", "{}", "{\"Index\":\"x\",\"Final\":true}", "{\"Index\":1,\"Final\":true,\"Scan\":{\"Ct\":{}}}", "{\"Index\":1e99,\"Final\":true}" })
            FluentActions.Invoking(() => ReaderJson.ReadReply(Encoding.UTF8.GetBytes(text))).Should().Throw<InvalidDataException>(text);
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void What_a_library_prints_between_messages_is_dropped()
    {
        var stream = new MemoryStream([.. "noise\n"u8, .. ReaderLine.Pack(new ReaderReply(1)), .. "more noise"u8, .. ReaderLine.Pack(new ReaderReply(2)), 0x1E, (byte)'{']);
        var reader = new ReaderLineReader(stream, 1000);
        ReaderJson.ReadReply(reader.Next()!).Index.Should().Be(1);
        ReaderJson.ReadReply(reader.Next()!).Index.Should().Be(2);
        reader.Next().Should().BeNull();
        FluentActions.Invoking(() => new ReaderLineReader(new MemoryStream(ReaderLine.Pack(new ReaderReply(1))), 5).Next()).Should().Throw<InvalidDataException>();
    }
}
