using System.Reflection;
using System.Text.RegularExpressions;
using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Tests.Architecture;

/// <summary>docs/formats/findings.md lists every code of a finding with what to do, and no other.</summary>
public sealed partial class FindingsDocumentTests
{
    private static readonly string[] s_codes = [.. typeof(FindingCodes).GetFields(BindingFlags.Public | BindingFlags.Static)
        .Where(f => f.IsLiteral).Select(f => (string)f.GetRawConstantValue()!)];

    [Fact]
    public void Every_code_has_a_row_with_a_remedy_and_every_row_a_code()
    {
        var rows = Rows();
        rows.SelectMany(r => r.Codes).Distinct().Should().BeEquivalentTo(s_codes);
        foreach (var (codes, cells) in rows)
        {
            cells.Should().HaveCount(4, "of {0}", codes[0]);
            cells.Should().OnlyContain(c => c.Length > 2, "of {0}", codes[0]);
        }
    }

    [Fact]
    public void Codes_differ() => s_codes.Should().OnlyHaveUniqueItems();

    [Fact]
    public void No_code_is_left_that_nothing_says()
    {
        var names = typeof(FindingCodes).GetFields(BindingFlags.Public | BindingFlags.Static).Select(f => f.Name);
        var source = string.Concat(Directory.GetFiles(Path.Combine(Repository.Root, "src"), "*.cs", SearchOption.AllDirectories).Select(File.ReadAllText));
        names.Where(n => !source.Contains($"FindingCodes.{n}", StringComparison.Ordinal)).Should().BeEmpty();
    }

    private static List<(string[] Codes, string[] Cells)> Rows() =>
    [
        .. from line in File.ReadAllLines(Path.Combine(Repository.Root, "docs", "formats", "findings.md"))
           where line.StartsWith("| `", StringComparison.Ordinal)
           let cells = line.Trim('|').Split('|', StringSplitOptions.TrimEntries)
           select (Code().Matches(cells[0]).Select(m => m.Groups[1].Value).ToArray(), cells)
    ];

    [GeneratedRegex("`([a-z0-9-]+)`")]
    private static partial Regex Code();
}
