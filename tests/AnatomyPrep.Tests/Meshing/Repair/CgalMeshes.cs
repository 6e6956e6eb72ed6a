using System.Formats.Tar;
using System.IO.Compression;

namespace AnatomyPrep.Tests.Meshing.Repair;

/// <summary>The meshes of Debian's package libcgal-demo, which is named among the needed ones.</summary>
internal static class CgalMeshes
{
    private static readonly string[] s_archives = ["/usr/share/doc/libcgal-demo/data.tar.gz", "/usr/share/doc/libcgal-dev/data.tar.gz"];

    /// <returns>Paths in the order of their names.</returns>
    public static IReadOnlyList<string> Unpack(string folder)
    {
        var archive = Array.Find(s_archives, File.Exists) ?? throw new FileNotFoundException("This test needs Debian's package libcgal-demo.");
        using var file = new GZipStream(File.OpenRead(archive), CompressionMode.Decompress);
        TarFile.ExtractToDirectory(file, folder, overwriteFiles: false);
        return [.. Directory.GetFiles(Path.Combine(folder, "data", "meshes")).Order(StringComparer.Ordinal)];
    }
}
