using System.Buffers;
using System.Security.Cryptography;

namespace AnatomyPrep.Records.Ledgers;

/// <summary>The three hashes of an RFC 9162 tree (section 2.1.1), SHA-256.</summary>
/// <remarks>Leaves and nodes carry different first bytes, so that no node can be passed off as a leaf.</remarks>
public static class MerkleHash
{
    public const int Bytes = SHA256.HashSizeInBytes;

    /// <summary>SHA-256 of nothing: the root of a tree without leaves.</summary>
    public static byte[] Empty() => SHA256.HashData([]);

    /// <summary>SHA-256(00 ‖ data).</summary>
    public static byte[] Leaf(ReadOnlySpan<byte> data)
    {
        // One call over joined bytes costs half of what a hash object of its own does.
        var buffer = ArrayPool<byte>.Shared.Rent(1 + data.Length);
        try
        {
            buffer[0] = 0;
            data.CopyTo(buffer.AsSpan(1));
            return SHA256.HashData(buffer.AsSpan(0, 1 + data.Length));
        }
        finally
        {
            ArrayPool<byte>.Shared.Return(buffer);
        }
    }

    /// <summary>SHA-256(01 ‖ left ‖ right); each side at most <see cref="Bytes"/> long.</summary>
    public static byte[] Node(ReadOnlySpan<byte> left, ReadOnlySpan<byte> right)
    {
        var result = new byte[Bytes];
        Node(left, right, result);
        return result;
    }

    internal static void Node(ReadOnlySpan<byte> left, ReadOnlySpan<byte> right, Span<byte> result)
    {
        Span<byte> input = stackalloc byte[1 + (2 * Bytes)];
        input[0] = 1;
        left.CopyTo(input[1..]);
        right.CopyTo(input[(1 + left.Length)..]);
        SHA256.HashData(input[..(1 + left.Length + right.Length)], result);
    }
}
