using System.Globalization;
using System.Xml.Linq;

namespace AnatomyPrep.Tests.Records.Reports;

/// <summary>A word of a PDF page and where it stands, in points from the top left, as pdftotext (poppler) finds it.</summary>
internal sealed record WordBox(string Text, double Left, double Top, double Right, double Bottom);

internal static class WordBoxes
{
    /// <summary>The words of each page.</summary>
    public static List<List<WordBox>> Of(string folder, string pdf)
    {
        Tool.Run(folder, "pdftotext", "-bbox", pdf, "words.html").ExitCode.Should().Be(0);
        var page = XDocument.Load(Path.Combine(folder, "words.html"));
        var xhtml = page.Root!.Name.Namespace;
        return [.. page.Descendants(xhtml + "page").Select(p => p.Elements(xhtml + "word").Select(w => new WordBox(w.Value, Number(w, "xMin"), Number(w, "yMin"), Number(w, "xMax"), Number(w, "yMax"))).ToList())];
    }

    /// <summary>Pairs of words whose boxes share more than the slack in both directions.</summary>
    public static List<(WordBox A, WordBox B)> Overlapping(List<WordBox> words, double slack)
    {
        var found = new List<(WordBox, WordBox)>();
        for (var i = 0; i < words.Count; i++)
            for (var j = i + 1; j < words.Count; j++)
                if (Math.Min(words[i].Right, words[j].Right) - Math.Max(words[i].Left, words[j].Left) > slack && Math.Min(words[i].Bottom, words[j].Bottom) - Math.Max(words[i].Top, words[j].Top) > slack)
                    found.Add((words[i], words[j]));
        return found;
    }

    private static double Number(XElement word, string name) => double.Parse(word.Attribute(name)!.Value, CultureInfo.InvariantCulture);
}
