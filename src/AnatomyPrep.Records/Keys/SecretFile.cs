using System.Globalization;
using System.Text;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Records.Keys;

/// <summary>A small file that only its owner may read, in a folder that only its owner may enter.</summary>
/// <remarks>
/// Made with mode 0600 as a <see cref="NewFile"/>: of two processes that make the same file at once, one wins and both use the winner's.
/// Refused is a file or folder that others may read, write or enter: a secret that was open to others is no secret, and narrowing the mode
/// again would only hide that.
/// </remarks>
internal static class SecretFile
{
    private const UnixFileMode OwnerOnlyFile = UnixFileMode.UserRead | UnixFileMode.UserWrite;
    private const UnixFileMode OwnerOnlyFolder = OwnerOnlyFile | UnixFileMode.UserExecute;
    private const int LargestBytes = 1 << 16;

    /// <summary>The text of the file; made by <paramref name="make"/> when there is none.</summary>
    internal static string ReadOrCreate(string folder, string name, Func<string> make)
    {
        if (OperatingSystem.IsWindows())
            throw new PlatformNotSupportedException("Keys are kept in files with Unix modes; this system has none.");
        Directory.CreateDirectory(folder, OwnerOnlyFolder);
        RequireMode(File.GetUnixFileMode(folder), OwnerOnlyFolder, "key folder");
        var path = Path.Combine(folder, name);
        if (!File.Exists(path))
        {
            var text = Encoding.UTF8.GetBytes(make());
            NewFile.Write(path, file => file.Write(text), OwnerOnlyFile);
        }

        return Read(path, name);
    }

    private static string Read(string path, string name)
    {
        using var file = new FileStream(path, FileMode.Open, FileAccess.Read);
        if (!OperatingSystem.IsWindows())
            RequireMode(File.GetUnixFileMode(file.SafeFileHandle), OwnerOnlyFile, name);
        if (file.Length > LargestBytes)
            throw new BadInputException(name, "size", $"{file.Length} bytes", "This is no key file: put the right one in its place.");
        using var reader = new StreamReader(file, Encoding.UTF8);
        return reader.ReadToEnd();
    }

    private static void RequireMode(UnixFileMode found, UnixFileMode widest, string name)
    {
        if ((found & ~widest) != 0)
            throw new BadInputException(
                name,
                "mode",
                $"{Octal(found)} is open to others",
                $"Make a new key if others may have read it; else set the mode to {Octal(widest)}.");
    }

    private static string Octal(UnixFileMode mode) =>
        "0" + Convert.ToString((int)mode, 8).PadLeft(3, '0').ToString(CultureInfo.InvariantCulture);
}
