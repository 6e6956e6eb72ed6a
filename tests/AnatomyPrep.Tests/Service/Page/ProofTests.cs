using System.Text.Json.Nodes;
using AnatomyPrep.Service.Accounts;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

[Collection("Page")]
public sealed class ProofTests(BrowsedService browsed)
{
    [Fact]
    public async Task The_browser_itself_finds_every_event_of_a_model_signed_and_in_the_tree()
    {
        await using var quinn = await browsed.VisitAsync(Roles.QualityOfficer);
        await quinn.GoAsync($"/proof/M-{browsed.Job.Id}/1");
        await quinn.Page.Locator(".notice.holds").WaitForAsync();
        (await quinn.Page.Locator(".bead").CountAsync()).Should().BeGreaterThan(1);
        (await quinn.Page.Locator(".bead:not(.holds)").CountAsync()).Should().Be(0);
        (await quinn.AxeAsync()).Should().BeEmpty();
        await quinn.KeepAsync("proof-thread");
        quinn.Strays.Should().BeEmpty();
    }

    [Theory]
    [InlineData("signature", "it is not in the tree")]
    [InlineData("hash", "it is not in the tree")]
    [InlineData("hidden", "its path to the root has the wrong length")]
    [InlineData("shown", "what is shown is not what was signed")]
    public async Task A_record_that_was_tampered_with_shows_as_such(string what, string why)
    {
        await using var quinn = await browsed.VisitAsync(Roles.QualityOfficer);
        await quinn.Page.RouteAsync(what == "shown" ? $"**/ledger/models/M-{browsed.Job.Id}/1" : "**/proof?size=*", async route =>
        {
            var answer = await route.FetchAsync();
            var body = JsonNode.Parse(await answer.TextAsync())!;
            switch (what)
            {
                case "signature":
                    // One letter of the envelope: the leaf is another one.
                    body["event"] = body["event"]!.GetValue<string>().Replace("\"sig\":\"M", "\"sig\":\"N", StringComparison.Ordinal);
                    break;
                case "hash":
                    var first = body["hashes"]![0]!.GetValue<string>();
                    body["hashes"]![0] = (first[0] == '0' ? "1" : "0") + first[1..];
                    break;
                case "hidden":
                    body["hashes"]!.AsArray().RemoveAt(0);
                    break;
                default:
                    body["events"]![0]!["body"]!.AsObject()["added"] = "later";
                    break;
            }

            await route.FulfillAsync(new() { Response = answer, Body = body.ToJsonString() });
        });
        await quinn.GoAsync($"/proof/M-{browsed.Job.Id}/1");
        await quinn.Page.Locator(".notice.stop").WaitForAsync();
        (await quinn.Page.Locator(".bead.broken").First.InnerTextAsync()).Should().Contain(why);
    }

    [Fact]
    public async Task The_board_and_the_lists_are_clean_for_axe_in_light_and_dark()
    {
        foreach (var dark in new[] { false, true })
        {
            await using var cora = await browsed.VisitAsync(Roles.Coordinator, 1024, 768, dark);
            await cora.GoAsync("/board");
            await cora.Page.Locator(".card img").First.WaitForAsync();
            (await cora.AxeAsync()).Should().BeEmpty("of the board");
            await cora.KeepAsync(dark ? "board-tablet-dark" : "board-tablet");
            await cora.OpenModelAsync(browsed.Job.Id);
            (await cora.AxeAsync()).Should().BeEmpty("of the bench on a tablet");
            await cora.KeepAsync(dark ? "bench-tablet-dark" : "bench-tablet");
        }
    }
}
