using AnatomyPrep.Tests.Records;

namespace AnatomyPrep.Tests.App.Ledgers;

/// <summary>docs/quality-officer/story.md, run as it stands there; and the words of docs/formats/ledger.md.</summary>
public sealed class LedgerStoryPageTests
{
    [Fact]
    [Trait("Kind", "Slow")]
    public void Page_says_what_the_program_prints()
    {
        var program = "dotnet " + Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll");
        Tool.Run(Repository.Root, "python3", "eng/story.py", program).Should().Be((0, ""));
    }

    [Fact]
    public void Every_refusal_failure_and_kind_of_event_stands_in_the_format_page()
    {
        var page = File.ReadAllText(Path.Combine(Repository.Root, "docs", "formats", "ledger.md"));
        foreach (var type in new[] { typeof(AnatomyPrep.Records.Ledgers.Refusals), typeof(AnatomyPrep.Records.Ledgers.Checks.LedgerFailures) })
            foreach (var code in type.GetFields().Select(f => (string)f.GetRawConstantValue()!))
                page.Should().Contain($"| `{code}` |");
        foreach (var kind in Enum.GetValues<AnatomyPrep.Records.Ledgers.Events.LedgerEventKind>())
        {
            var name = System.Text.Json.JsonNamingPolicy.CamelCase.ConvertName(kind.ToString());
            var roles = AnatomyPrep.Records.Ledgers.People.Privileges.For(kind).Select(r => System.Text.Json.JsonNamingPolicy.CamelCase.ConvertName(r.ToString()));
            page.Should().Contain($"| `{name}` | {string.Join(", ", roles)} |");
        }
    }
}
