using AnatomyPrep.Core.Findings;
using SkiaSharp;

namespace AnatomyPrep.Records.Reports;

/// <summary>The typefaces of a report, loaded from files so that every machine with those files makes the same pages.</summary>
/// <remarks>DejaVu covers Latin, Greek, Cyrillic and more; text in other scripts is shown by code points.</remarks>
public sealed class ReportFonts : IDisposable
{
    /// <summary>Where the Debian package fonts-dejavu-core puts them.</summary>
    public const string DefaultFolder = "/usr/share/fonts/truetype/dejavu";

    private ReportFonts(SKTypeface regular, SKTypeface bold, SKTypeface mono) => (Regular, Bold, Mono) = (regular, bold, mono);

    internal SKTypeface Regular { get; }

    internal SKTypeface Bold { get; }

    internal SKTypeface Mono { get; }

    /// <exception cref="BadInputException">A font file is not there or not a font.</exception>
    public static ReportFonts Load(string folder = DefaultFolder) => new(
        Face(folder, "DejaVuSans.ttf"), Face(folder, "DejaVuSans-Bold.ttf"), Face(folder, "DejaVuSansMono.ttf"));

    public void Dispose()
    {
        Regular.Dispose();
        Bold.Dispose();
        Mono.Dispose();
    }

    private static SKTypeface Face(string folder, string name)
    {
        var path = Path.Combine(folder, name);
        return (File.Exists(path) ? SKTypeface.FromFile(path) : null)
            ?? throw new BadInputException(name, "font", "not there or not readable", "Install the package fonts-dejavu-core.");
    }
}
