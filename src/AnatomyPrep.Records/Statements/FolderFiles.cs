using System.Security.Cryptography;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Records.Statements;

/// <summary>The files below a folder, and their hashes.</summary>
/// <remarks>Links are listed but never followed: a link could lead out of the folder, or to a device that never ends.</remarks>
internal static class FolderFiles
{
    private const int BufferBytes = 1 << 20;

    internal sealed record Entry(string Name, bool IsLink);

    /// <summary>All files, named by their path below the folder with '/', in ordinal order.</summary>
    internal static List<Entry> List(string folder)
    {
        var found = new List<Entry>();
        Add(found, new DirectoryInfo(folder), "");
        found.Sort(static (a, b) => string.CompareOrdinal(a.Name, b.Name));
        return found;
    }

    /// <summary>Hashes of several files of a folder, in the order of the names.</summary>
    internal static (string Sha256, long Bytes)[] HashAll(string folder, IReadOnlyList<string> names, RunContext run)
    {
        var hashes = new (string, long)[names.Count];
        Partition.For(run, hashes.Length, n =>
        {
            hashes[n] = Hash(Path.Combine(folder, names[n]), run);
            run.Report("record", "hashing", (double)n / hashes.Length);
        });
        return hashes;
    }

    /// <summary>SHA-256, lower-case hex, and the number of bytes read. Peak memory 1 MB.</summary>
    internal static (string Sha256, long Bytes) Hash(string path, RunContext run)
    {
        using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read, bufferSize: 0, FileOptions.SequentialScan);
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        var buffer = new byte[(int)Math.Clamp(file.Length, 1, BufferBytes)];
        long bytes = 0;
        for (int read; (read = file.Read(buffer)) > 0; bytes += read)
        {
            run.ThrowIfCancelled();
            hash.AppendData(buffer, 0, read);
        }

        return (Convert.ToHexStringLower(hash.GetHashAndReset()), bytes);
    }

    private static void Add(List<Entry> found, DirectoryInfo folder, string prefix)
    {
        foreach (var entry in folder.EnumerateFileSystemInfos())
        {
            var isLink = entry.LinkTarget is not null;
            if (entry is DirectoryInfo below && !isLink)
                Add(found, below, prefix + entry.Name + "/");
            else
                found.Add(new Entry(prefix + entry.Name, isLink));
        }
    }
}
