using System.Runtime.InteropServices;
using System.Security.Cryptography;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using Microsoft.Win32.SafeHandles;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>
/// The process that touches untrusted files: it reads requests from its input, works on their files on all threads, and
/// says on its output which file it begins and what came of it. It may be killed, or abort, at any moment: the parent
/// (<see cref="ReaderProcess"/>) then knows which files were open, and goes on with a new child.
/// </summary>
/// <remarks>
/// No text of a file leaves it but UIDs, codes from closed lists, a kernel name and the file names of a DICOMDIR; who the patient is
/// only in answer to <see cref="ReaderTask.Identify"/>. Exceptions are reduced to their kind.
/// Memory: per thread one file and about 6 bytes a sample of one frame.
/// </remarks>
public static class ReaderChild
{
    private const long LargestFileBytes = int.MaxValue - 64;
    private const int LongestRequestBytes = 1 << 30;

    /// <summary>Serves requests until the input ends; the exit code of the process.</summary>
    public static int Run(Stream input, Stream output)
    {
        var requests = new ReaderLineReader(input, LongestRequestBytes);
        while (requests.Next() is { } json)
        {
            var request = ReaderJson.ReadRequest(json);
            using var session = new Session(request, output);
            session.Run();
        }

        return 0;
    }

    private sealed class Session(ReaderRequest request, Stream output) : IDisposable
    {
        private readonly Lock _writing = new();
        private readonly RunContext _run = new(threads: request.Threads);
        private readonly SafeFileHandle? _hu = request.OutputPath is null ? null : File.OpenHandle(request.OutputPath, FileMode.Open, FileAccess.Write, FileShare.ReadWrite);
        private readonly ThreadLocal<Workplace> _workplaces = new(() => new Workplace());

        public void Run()
        {
            Partition.For(_run, request.Items.Count, i => Handle(request.Items[i]));
            Say(new ReaderReply(-1, Final: true));
        }

        public void Dispose()
        {
            _workplaces.Dispose();
            _hu?.Dispose();
        }

        private void Handle(ReaderItem item)
        {
            Say(new ReaderReply(item.Index));
            try
            {
                Say(request.Task switch
                {
                    ReaderTask.Scan => Scan(item),
                    ReaderTask.Hash => Hash(item),
                    ReaderTask.Identify => Identify(item),
                    _ => Decode(item),
                });
            }
            catch (Exception e) when (e is IOException or UnauthorizedAccessException or InvalidDataException)
            {
                // The messages of the first two carry the path, which may carry a name.
                var why = e switch
                {
                    InvalidDataException => e.Message,
                    UnauthorizedAccessException => "may not be read by this user",
                    FileNotFoundException or DirectoryNotFoundException => "is no longer there",
                    _ => "cannot be read",
                };
                var field = e is InvalidDataException ? Tag.Name(Tag.PixelData) : "file";
                Say(new ReaderReply(item.Index, Final: true, Fault: new(FindingCodes.FileUnreadable, field, why, "Send this file again from its source.")));
            }
        }

        private ReaderReply Scan(ReaderItem item)
        {
            using var file = File.OpenHandle(item.Path);
            var scan = FactsReader.Read(new FileBytes(file), request.Salt);
            return new ReaderReply(item.Index, Final: true, Scan: scan, Digest: DigestOf(scan));
        }

        private ReaderReply Identify(ReaderItem item)
        {
            using var file = File.OpenHandle(item.Path);
            var header = HeaderWalker.Read(new FileBytes(file), identify: true);
            var digest = DigestOf(new FactsReader(header, request.Salt).Read());
            var characterSet = header.Identifiers.GetValueOrDefault(Tag.SpecificCharacterSet);
            var found = Tag.Identifiers.Where(i => header.Identifiers.ContainsKey(i.Tag)).Select(i => new Identifier(i.Tag, HeaderText.Person(header.Identifiers[i.Tag], characterSet)));
            return new ReaderReply(item.Index, Final: true, Digest: digest, Identifiers: [.. found.Where(i => i.Value.Length > 0)]);
        }

        private static string DigestOf(ScanResult scan) =>
            Convert.ToHexString(SHA256.HashData(ReaderLine.Pack(new ReaderReply(0, Scan: scan))).AsSpan(0, 16));

        private static ReaderReply Hash(ReaderItem item)
        {
            using var file = File.OpenRead(item.Path);
            return new ReaderReply(item.Index, Final: true, Sha256: Hex(SHA256.HashData(file)), Bytes: file.Length);
        }

        /// <summary>Hash, facts and samples all come from one reading of the file, so they cannot disagree.</summary>
        private ReaderReply Decode(ReaderItem item)
        {
            var bytes = _workplaces.Value!.Load(item.Path);
            var source = new MemoryBytes(bytes);
            var header = HeaderWalker.Read(source);
            var scan = new FactsReader(header, request.Salt).Read();
            var sha256 = Hex(SHA256.HashData(bytes.Span));
            if (scan.Fault is { } fault)
                return new ReaderReply(item.Index, Final: true, Fault: fault, Sha256: sha256, Bytes: bytes.Length);
            if (scan.Ct is not { } facts || facts.Slices.Count != item.Slots!.Count || (item.Digest is not null && DigestOf(scan) != item.Digest))
                return new ReaderReply(item.Index, Final: true, Fault: new(FindingCodes.FileChanged, "file", "changed while it was read", "Run again when nobody writes to the folder."));
            var counts = DecodeFrames(item, header, facts);
            return new ReaderReply(item.Index, Final: true, Sha256: sha256, Bytes: bytes.Length, Slices: counts);
        }

        private SliceCounts[] DecodeFrames(ReaderItem item, DicomHeader header, FileFacts facts)
        {
            IReadOnlyList<Range> fragments = [];
            if (header.Pixels is { Native: null } pixels)
                FrameFragments.Assign(pixels, header.Data!, header.Syntax.Coding, facts.Slices.Count, out fragments);
            var counts = new SliceCounts[facts.Slices.Count];
            Partition.For(_run, counts.Length, frame =>
            {
                counts[frame] = DecodeFrame(header, facts, fragments, frame, item.Slots![frame]);
                if (counts.Length > 1)
                    Say(new ReaderReply(item.Index));
            });
            return counts;
        }

        private SliceCounts DecodeFrame(DicomHeader header, FileFacts facts, IReadOnlyList<Range> fragments, int frame, int slot)
        {
            var slice = facts.Slices[frame];
            if (slice.Slope is not { } slope || slice.Intercept is not { } intercept)
                throw new InvalidDataException("no rescale slope and intercept");
            var place = _workplaces.Value!;
            var words = place.Decoder.Decode(header, facts, fragments, frame);
            var hu = place.Hu(words.Length);
            var counts = place.Scale(facts.Layout, slope, intercept).Convert(words, hu);
            if (_hu is not null && slot >= 0)
                RandomAccess.Write(_hu, MemoryMarshal.AsBytes(hu), (long)slot * hu.Length * sizeof(short));
            return counts;
        }

        private void Say(ReaderReply reply)
        {
            var line = ReaderLine.Pack(reply);
            lock (_writing)
            {
                output.Write(line);
                output.Flush();
            }
        }

        private static string Hex(byte[] hash) => Convert.ToHexStringLower(hash);
    }

    /// <summary>The buffers of one thread.</summary>
    private sealed class Workplace
    {
        private byte[] _file = [];
        private short[] _hu = [];
        private StoredToHu? _scale;

        public FrameDecoder Decoder { get; } = new();

        public ReadOnlyMemory<byte> Load(string path)
        {
            using var file = File.OpenHandle(path);
            var length = RandomAccess.GetLength(file);
            if (length > LargestFileBytes)
                throw new InvalidDataException("file larger than 2 GB");
            if (_file.Length < length)
                _file = GC.AllocateUninitializedArray<byte>((int)length);
            var filled = 0;
            for (int n; filled < length && (n = RandomAccess.Read(file, _file.AsSpan(filled, (int)length - filled), filled)) > 0;)
                filled += n;
            return _file.AsMemory(0, filled);
        }

        public Span<short> Hu(int samples)
        {
            if (_hu.Length < samples)
                _hu = GC.AllocateUninitializedArray<short>(samples);
            return _hu.AsSpan(0, samples);
        }

        public StoredToHu Scale(PixelLayout layout, double slope, double intercept)
        {
            if (_scale is null || !_scale.Fits(layout, slope, intercept))
                _scale = new StoredToHu(layout, slope, intercept);
            return _scale;
        }
    }
}
