using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Tests.Service.Accounts;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>The page offers the organisation's sign-in where there is one, and only there.</summary>
[Collection("Page")]
[Trait("Kind", "Slow")]
public sealed class SignInTests(BrowsedService browsed) : IDisposable
{
    private const string External = "Sign in with your organisation";

    private readonly TestFolder _folder = new();
    private readonly Issuer _issuer = new() { Claims = new() { ["sub"] = "s-1", ["preferred_username"] = "tom@example.org", ["roles"] = new[] { "lab" } } };

    public void Dispose()
    {
        _issuer.Dispose();
        _folder.Dispose();
    }

    [Fact]
    public async Task Somebody_signs_in_by_the_organisation_and_again_when_the_session_has_ended()
    {
        File.WriteAllText(_folder["secret"], Issuer.Secret);
        await using var service = await RunningService.StartAsync(_folder["data"], new
        {
            storage = new { leastFreeMegabytes = 0 },
            signIn = new { authority = _issuer.Url, clientId = Issuer.Client, clientSecretFile = _folder["secret"], roles = new Dictionary<string, string> { ["lab"] = Roles.Technician } },
        });
        var page = await browsed.StrangerAsync();
        await page.GotoAsync(service.Address.ToString());
        await SignInAsync(page);
        await page.GetByText("tom, technician").WaitForAsync();

        // The session ends under somebody's hands: the sign-in goes on in another tab, and the work here stays.
        await page.Context.ClearCookiesAsync();
        await page.GetByRole(AriaRole.Link, new() { Name = "Board" }).ClickAsync();
        var other = await page.Context.RunAndWaitForPageAsync(() => page.GetByRole(AriaRole.Dialog).GetByText(External).ClickAsync());
        await other.GetByText("go on").ClickAsync();
        await other.GetByText("tom, technician").WaitForAsync();
        await other.CloseAsync();
        await page.EvaluateAsync("() => document.dispatchEvent(new Event('visibilitychange'))");
        await page.GetByRole(AriaRole.Dialog).WaitForAsync(new() { State = WaitForSelectorState.Detached });
        service.Accounts.List().Should().ContainSingle().Which.Name.Should().Be("tom");
        await page.Context.CloseAsync();
    }

    [Fact]
    public async Task Without_such_a_sign_in_there_is_no_link_to_it()
    {
        var page = await browsed.StrangerAsync();
        var asked = page.WaitForResponseAsync("**/api/v1/sign-in");
        await page.GotoAsync(browsed.Service.Address.ToString());
        await (await asked).FinishedAsync();
        await page.GetByLabel("Password").WaitForAsync();
        (await page.GetByText(External).CountAsync()).Should().Be(0);
        await page.Context.CloseAsync();
    }

    /// <summary>By the link, and over the issuer's own page.</summary>
    private static async Task SignInAsync(IPage page)
    {
        await page.GetByText(External).ClickAsync();
        await page.GetByText("go on").ClickAsync();
    }
}
