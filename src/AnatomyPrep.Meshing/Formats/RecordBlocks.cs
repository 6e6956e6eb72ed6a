using System.Buffers;
using AnatomyPrep.Core.Running;
using Microsoft.Win32.SafeHandles;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Writes many records of one size: blocks of them are made by several threads and go to their own place.</summary>
/// <remarks>Memory: 256 KiB a thread to a file, sixteen times that to a stream. The bytes do not depend on the threads.</remarks>
internal static class RecordBlocks
{
    private const int BlockBytes = 1 << 18;
    private const int StreamBatch = 16;

    /// <summary>Fills <paramref name="block"/> with whole records, the first of them number <paramref name="first"/>.</summary>
    internal delegate void Fill(Span<byte> block, int first);

    internal static void Write(SafeFileHandle file, long at, int count, int recordBytes, Fill fill, RunContext run)
    {
        Partition.Ranges(run, count, BlockBytes / recordBytes, (_, from, to) =>
        {
            var buffer = ArrayPool<byte>.Shared.Rent(BlockBytes);
            try
            {
                var block = buffer.AsSpan(0, (to - from) * recordBytes);
                fill(block, from);
                RandomAccess.Write(file, block, at + ((long)from * recordBytes));
            }
            finally
            {
                ArrayPool<byte>.Shared.Return(buffer);
            }
        });
    }

    internal static void Write(Stream stream, int count, int recordBytes, Fill fill, RunContext run)
    {
        var perBlock = BlockBytes / recordBytes;
        var batch = new byte[Math.Min(StreamBatch, Math.Max(1, Partition.Pieces(count, perBlock)))][];
        for (var b = 0; b < batch.Length; b++)
            batch[b] = GC.AllocateUninitializedArray<byte>(perBlock * recordBytes);
        for (long first = 0; first < count; first += (long)perBlock * batch.Length)
        {
            var start = (int)first;
            var inBatch = (int)Math.Min((long)perBlock * batch.Length, count - first);
            Partition.Ranges(run, inBatch, perBlock, (b, from, to) => fill(batch[b].AsSpan(0, (to - from) * recordBytes), start + from));
            for (int b = 0, left = inBatch; left > 0; b++, left -= perBlock)
                stream.Write(batch[b], 0, Math.Min(left, perBlock) * recordBytes);
        }
    }
}
