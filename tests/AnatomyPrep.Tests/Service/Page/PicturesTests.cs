using System.Text.Json;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Service.Accounts;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>What each of the three looks at, of the demo's invented skull, wide and on a tablet, light and dark: nothing is cut off, axe finds nothing. Docs show these pictures.</summary>
[Collection("Page")]
[Trait("Kind", "Slow")]
public sealed class PicturesTests(BrowsedService browsed) : IDisposable
{
    private static readonly (string Name, int Width, int Height)[] s_sizes = [("", 1440, 900), ("-tablet", 1024, 768)];

    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task What_the_three_look_at_is_whole_wide_and_on_a_tablet_light_and_dark()
    {
        var phantom = PhantomCatalogue.Create("teaching-skull", new PhantomOptions { SpacingMm = new Vec3(0.9, 0.9, 0.9) });
        var source = await browsed.BringAsync(phantom.Write(_folder["skull"], RunContext.Default).Select(n => Path.Combine(_folder["skull"], n)));
        using var api = await ServiceClient.AsAsync(browsed.Service, Roles.Coordinator, "cora-of-pictures");
        var today = DateOnly.FromDateTime(DateTime.Today);
        await AskAsync(api, new { purpose = "education", anatomy = "foot", side = "left", plan = "bone", sourceId = source, neededBy = today.AddDays(1) });
        await AskAsync(api, new { purpose = "education", anatomy = "mandible", plan = "bone", patientId = "NOBODY-YET", neededBy = today.AddDays(9) });
        var request = await AskAsync(api, new { purpose = "education", anatomy = "skull", plan = "bone", sourceId = source, neededBy = today.AddDays(2), requesterCode = "TEACH-07", note = "For the course on Monday" });
        var job = await browsed.Service.Until(() => browsed.Service.Jobs.List(100).FirstOrDefault(j => j.Request.RequestId == request && j.Published is not null)?.Id, "no model");

        await using var tess = await browsed.VisitAsync(Roles.Technician, called: "tess");
        await tess.TellingAsync("The bench", async () =>
        {
            await tess.OpenModelAsync(job);
            await InBothLightsAsync(tess, "bench");
            await ButtonOf(tess, "Soft tissue").ClickAsync();
            await tess.Page.GetByLabel("Add a step").SelectOptionAsync("cut");
            await ButtonOf(tess, "Add the step").ClickAsync();
            await ButtonOf(tess, "Draw the cut").ClickAsync();
            var box = (await tess.Page.Locator(".plane-frontal .over").BoundingBoxAsync())!;
            await tess.Page.Mouse.MoveAsync(box.X + (box.Width * 0.2f), box.Y + (box.Height * 0.6f));
            await tess.Page.Mouse.DownAsync();
            await tess.Page.Mouse.MoveAsync(box.X + (box.Width * 0.8f), box.Y + (box.Height * 0.5f), new() { Steps = 5 });
            await tess.Page.Mouse.UpAsync();
            await Assertions.Expect(tess.Page.Locator("details[open] [data-key$='pointMm']")).Not.ToHaveValueAsync("");
            await PictureAsync(tess, "cut");
        });

        await using var cora = await browsed.VisitAsync(Roles.Coordinator, called: "cora");
        await cora.TellingAsync("The board", async () =>
        {
            await cora.GoAsync("/board");
            await cora.Page.GetByRole(AriaRole.Link, new() { Name = "Look at skull" }).First.WaitForAsync();
            await InBothLightsAsync(cora, "board");
            await cora.GoAsync($"/board/{job}");
            await cora.Page.Locator(".panes.one[data-solid-ms]").WaitForAsync();
            var box = (await cora.Page.Locator(".pane.solid .over").BoundingBoxAsync())!;
            await ButtonOf(cora, "Measure").ClickAsync();
            await cora.Page.Mouse.ClickAsync(box.X + (box.Width * 0.46f), box.Y + (box.Height * 0.3f));
            await cora.Page.Mouse.ClickAsync(box.X + (box.Width * 0.56f), box.Y + (box.Height * 0.3f));
            await cora.Page.Locator(".measures li").WaitForAsync();
            await ButtonOf(cora, "Mark a place").ClickAsync();
            await cora.Page.Mouse.ClickAsync(box.X + (box.Width * 0.5f), box.Y + (box.Height * 0.45f));
            await cora.Page.GetByLabel("What is wrong at mark 1").FillAsync("a step here");
            await InBothLightsAsync(cora, "look");
        });

        await using var quinn = await browsed.VisitAsync(Roles.QualityOfficer, called: "quinn");
        await quinn.TellingAsync("The thread", async () =>
        {
            await quinn.GoAsync("/proof");
            await quinn.Page.GetByRole(AriaRole.Link, new() { Name = $"M-{job}/1" }).First.WaitForAsync();
            await InBothLightsAsync(quinn, "proof");
            await quinn.GoAsync($"/proof/M-{job}/1");
            await quinn.Page.Locator(".notice.holds").WaitForAsync();
            await InBothLightsAsync(quinn, "thread");
        });
    }

    private static async Task<string> AskAsync(ServiceClient api, object request)
    {
        using var answer = await api.SendAsync(HttpMethod.Post, "/api/v1/requests/", request);
        answer.EnsureSuccessStatusCode();
        return JsonDocument.Parse(await answer.Content.ReadAsStringAsync()).RootElement.GetProperty("id").GetString()!;
    }

    private static async Task InBothLightsAsync(Visitor visitor, string place)
    {
        foreach (var light in new[] { "", "-dark" })
        {
            foreach (var (size, width, height) in s_sizes)
            {
                await visitor.Page.SetViewportSizeAsync(width, height);
                await PictureAsync(visitor, $"{place}{size}{light}");
            }

            await visitor.Page.SetViewportSizeAsync(s_sizes[0].Width, s_sizes[0].Height);
            await ButtonOf(visitor, light.Length == 0 ? "Dark" : "Light").ClickAsync();
        }
    }

    private static async Task PictureAsync(Visitor visitor, string name)
    {
        await visitor.Page.Mouse.MoveAsync(1, 1);
        // The solid is drawn whole once it rests.
        await visitor.Page.EvaluateAsync("() => new Promise(r => setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(r)), 400))");
        await visitor.KeepAsync($"page-{name}");
        var cut = await visitor.Page.EvaluateAsync<string[]>("""
            () => [...document.querySelectorAll('h1, h2, h3, p, button, a, label, summary, dt, dd, legend, input, select')]
              .filter(e => e.checkVisibility() && !e.closest('.skip'))
              .filter(e => e.getBoundingClientRect().right > innerWidth + 1 || e.getBoundingClientRect().left < -1 || (!e.matches('input, select, a') && e.scrollWidth > e.clientWidth + 1))
              .map(e => `${e.tagName} ${e.className} ${e.textContent.slice(0, 40)}`)
            """);
        cut.Should().BeEmpty("of what is cut off on {0}", name);
        (await visitor.AxeAsync()).Should().BeEmpty("of {0}", name);
    }

    private static ILocator ButtonOf(Visitor visitor, string name) => visitor.Page.GetByRole(AriaRole.Button, new() { Name = name, Exact = true });
}
