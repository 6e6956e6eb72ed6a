using System.Buffers.Binary;
using System.Globalization;
using System.IO.Compression;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Unpacks a zip archive of images into a folder of its own that goes when the input is done with.</summary>
/// <remarks>
/// Read in this process: the archive's structure is managed code and its DEFLATE the runtime's own; what comes out is DICOM, and that only
/// the reader child reads. Names in the archive never become paths: files get numbers. Bounds: 100,000 entries, a
/// directory of 64 MB, and unpacked 1 GB and 100 times the archive (CT packs 2 to 4 times), but no more than 32 GB; an entry that
/// gives more than it declares ends it. An archive within the archive is not opened. A folder left behind by a process that
/// was killed is removed by the next one that unpacks.
/// </remarks>
internal sealed class SourceArchive : IDisposable
{
    private const int MostEntries = 100_000;
    private const long LargestDirectoryBytes = 64 << 20;
    private const long SmallBytes = 1L << 30;
    private const int MostTimes = 100;
    private const long LargestBytes = 32L << 30;
    private const string FolderName = "anatomyprep-zip-";
    private const string DoNotUse = "Do not use this archive; ask for it again from its source.";

    private readonly DirectoryInfo _folder = MakeFolder();

    /// <summary>Where the files are.</summary>
    public string Folder => _folder.FullName;

    /// <summary>True for a zip file that is none of a 3MF model.</summary>
    public static bool IsZip(string path) => HasZipMark(path) && !HoldsModel(path);

    /// <exception cref="BadInputException">Broken, hostile, empty or too large.</exception>
    public static SourceInput Unpack(string path, RunContext run)
    {
        var name = Path.GetFileName(path);
        var archive = new SourceArchive();
        try
        {
            var files = archive.Unpack(path, name, run);
            if (files.Count == 0)
                throw new BadInputException(name, "archive", "empty", "Give an archive that holds a CT series.");
            return new(files, null, archive);
        }
        catch (InvalidDataException)
        {
            archive.Dispose();
            throw new BadInputException(name, "archive", "broken, encrypted or packed in another way than DEFLATE", "Send it again as a plain zip, or unpack it first and give the folder.");
        }
        catch
        {
            archive.Dispose();
            throw;
        }
    }

    public void Dispose() => _folder.Delete(recursive: true);

    /// <summary>The preamble of a DICOM file may hold anything, so its mark wins.</summary>
    private static bool HasZipMark(string path)
    {
        using var file = File.OpenHandle(path);
        Span<byte> head = stackalloc byte[132];
        head = head[..RandomAccess.Read(file, head, 0)];
        return (head.StartsWith("PK\x03\x04"u8) || head.StartsWith("PK\x05\x06"u8)) && !head.EndsWith("DICM"u8);
    }

    /// <summary>Every 3MF model has a part of this name (ECMA-376 part 2).</summary>
    private static bool HoldsModel(string path)
    {
        try
        {
            using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read);
            CheckDirectory(file, Path.GetFileName(path));
            using var zip = new ZipArchive(file, ZipArchiveMode.Read);
            return zip.Entries.Any(e => e.FullName.Equals("[Content_Types].xml", StringComparison.OrdinalIgnoreCase));
        }
        catch (Exception e) when (e is InvalidDataException or BadInputException)
        {
            return Path.GetExtension(path).Equals(".3mf", StringComparison.OrdinalIgnoreCase);
        }
    }

    private static DirectoryInfo MakeFolder()
    {
        foreach (var left in Directory.GetDirectories(Path.GetTempPath(), FolderName + "*"))
            if (int.TryParse(Path.GetFileName(left)[FolderName.Length..].Split('-')[0], NumberStyles.None, CultureInfo.InvariantCulture, out var id) && !Directory.Exists(FormattableString.Invariant($"/proc/{id}")))
                Remove(left);
        return Directory.CreateTempSubdirectory(FormattableString.Invariant($"{FolderName}{Environment.ProcessId}-"));
    }

    private static void Remove(string folder)
    {
        try
        {
            Directory.Delete(folder, recursive: true);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            // Another user's, or another process was faster.
        }
    }

    private List<InputFile> Unpack(string path, string name, RunContext run)
    {
        using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read);
        CheckDirectory(file, name);
        using var zip = new ZipArchive(file, ZipArchiveMode.Read, leaveOpen: true);
        ZipArchiveEntry[] entries = [.. zip.Entries.Where(e => !e.FullName.EndsWith('/') && !e.FullName.EndsWith('\\'))];
        if (entries.Length > MostEntries)
            throw new BadInputException(name, "archive", "more than 100,000 files", "Give the archive of one study.");
        CheckSize(entries, file.Length, name);
        var files = new List<InputFile>();
        foreach (var entry in entries.OrderBy(e => e.FullName, StringComparer.Ordinal))
        {
            run.ThrowIfCancelled();
            run.Report("acquire", "unpacking", (double)files.Count / entries.Length);
            files.Add(Unpack(entry, files.Count, name, run));
        }

        return files;
    }

    private InputFile Unpack(ZipArchiveEntry entry, int number, string archive, RunContext run)
    {
        var within = entry.FullName.Replace('\\', '/');
        if (within.StartsWith('/') || within.Split('/').Any(p => p is ".." or "." or "") || within.Contains('\0', StringComparison.Ordinal) || (within.Length > 1 && within[1] == ':'))
            throw new BadInputException(archive, "entry", "a name that leads out of the archive", DoNotUse);
        var name = new string([.. within[(within.LastIndexOf('/') + 1)..].Select(c => char.IsControl(c) ? '?' : c)]);
        var path = Path.Combine(_folder.FullName, number.ToString("D6", CultureInfo.InvariantCulture));
        using var from = entry.Open();
        using var to = new FileStream(path, FileMode.CreateNew, FileAccess.Write, FileShare.None, 1);
        var block = new byte[1 << 16];
        var left = entry.Length;
        var crc = 0u;
        for (int n; (n = from.Read(block)) > 0;)
        {
            run.ThrowIfCancelled();
            left -= n;
            if (left < 0)
                throw new BadInputException(archive, "entry", "unpacks to more than it declares", DoNotUse);
            crc = Crc32.Append(crc, block.AsSpan(0, n));
            to.Write(block, 0, n);
        }

        // The library does not compare the checksum, and a changed sample gives no other error.
        return left == 0 && crc == entry.Crc32
            ? new(path, name, entry.Length, within)
            : throw new BadInputException(archive, "entry", left == 0 ? "its checksum is wrong" : "unpacks to less than it declares", "Send the archive again from its source.");
    }

    private static void CheckSize(ZipArchiveEntry[] entries, long packed, string name)
    {
        var allowed = Math.Min(LargestBytes, SmallBytes + (MostTimes * packed));
        var total = 0L;
        foreach (var entry in entries)
            if ((total += entry.Length) > allowed || entry.Length < 0)
                throw new BadInputException(name, "archive", FormattableString.Invariant($"unpacks to more than {allowed / 1e9:F1} GB, far more than images do"), DoNotUse);
        if (new DriveInfo(Path.GetTempPath()).AvailableFreeSpace < total)
            throw new BadInputException("acquire", "temporary folder", FormattableString.Invariant($"{total / 1e9:F2} GB do not fit"), "Free space there, or set TMPDIR to another folder.");
    }

    /// <summary>
    /// The list of entries must begin within the last 64 MB: the library loads all of it before its first entry can be
    /// looked at. Layout: PKWARE APPNOTE 6.3, sections 4.3.14 to 4.3.16.
    /// </summary>
    private static void CheckDirectory(FileStream file, string name)
    {
        var tail = new byte[(int)Math.Min(file.Length, 66_000)];
        file.Position = file.Length - tail.Length;
        file.ReadExactly(tail);
        file.Position = 0;
        var end = tail.AsSpan().LastIndexOf("PK\x05\x06"u8);
        if (end < 0 || tail.Length - end < 22)
            throw new InvalidDataException("no end record");
        long begin = BinaryPrimitives.ReadUInt32LittleEndian(tail.AsSpan(end + 16));
        if (begin == uint.MaxValue)
        {
            var locator = tail.AsSpan().LastIndexOf("PK\x06\x06"u8);
            if (locator < 0 || tail.Length - locator < 56)
                throw new InvalidDataException("no end record");
            begin = BinaryPrimitives.ReadInt64LittleEndian(tail.AsSpan(locator + 48));
        }

        if (begin < 0 || file.Length - begin > LargestDirectoryBytes)
            throw new BadInputException(name, "archive", "a list of files that is out of all proportion", DoNotUse);
    }
}
