using System.Text.Json;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>What goes wrong under somebody's hands: a clear state, the work kept, a way on.</summary>
[Collection("Page")]
[Trait("Kind", "Slow")]
public sealed class TroubleTests(BrowsedService browsed)
{
    [Fact]
    public async Task A_lost_line_keeps_the_changed_plan_and_goes_on_when_it_is_back()
    {
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        var page = tess.Page;
        await tess.OpenModelAsync(browsed.Job.Id);
        await ChangeThresholdAsync(page, "333");
        await page.Context.SetOfflineAsync(true);
        await Button(page, "Make again with this plan").ClickAsync();
        await page.GetByText("The service does not answer").WaitForAsync();
        await page.GetByText("Your changes are kept here").WaitForAsync();
        await tess.KeepAsync("trouble-line");
        (await tess.AxeAsync()).Should().BeEmpty();
        await page.Context.SetOfflineAsync(false);
        await page.GetByText("The service answers again").WaitForAsync();
        (await page.Locator("details[open]").GetByLabel("lowerHu").InputValueAsync()).Should().Be("333");
        await Button(page, "Make again with this plan").ClickAsync();
        (await PlanOfNextAsync(page, browsed.Job.Id)).Should().Contain("\"lowerHu\":333");
    }

    [Fact]
    public async Task A_session_that_ends_in_the_middle_of_work_is_opened_again_over_it()
    {
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        var page = tess.Page;
        await tess.OpenModelAsync(browsed.Job.Id);
        await ChangeThresholdAsync(page, "344");
        await page.GetByLabel("In words").FillAsync("half a sentence");
        await page.Context.ClearCookiesAsync();
        await Button(page, "Make again with this plan").ClickAsync();
        var dialog = page.GetByRole(AriaRole.Dialog);
        await dialog.GetByText("what you were doing is still here").WaitForAsync();
        await page.Keyboard.PressAsync("Escape");
        (await dialog.IsVisibleAsync()).Should().BeTrue("the work behind it waits");
        (await page.GetByLabel("In words").InputValueAsync()).Should().Be("half a sentence");
        await tess.KeepAsync("trouble-session");
        await dialog.GetByLabel("Password").FillAsync("wrong");
        await dialog.GetByRole(AriaRole.Button).ClickAsync();
        await dialog.GetByText("do not open an account").WaitForAsync();
        await dialog.GetByLabel("Password").FillAsync(ServiceClient.Password);
        await dialog.GetByRole(AriaRole.Button).ClickAsync();
        // What was asked for before goes on by itself.
        (await PlanOfNextAsync(page, browsed.Job.Id)).Should().Contain("\"lowerHu\":344");
    }

    [Fact]
    public async Task A_job_that_fails_while_somebody_looks_says_why_and_its_plan_can_be_changed()
    {
        using var api = await ServiceClient.AsAsync(browsed.Service, Roles.Technician, "failer");
        // No sample has so many HU: the run stops with a reason.
        using var made = await api.SendAsync(HttpMethod.Post, $"/api/v1/jobs/{browsed.Job.Id}/again", new { plan = """{"plan":"none","version":"1","steps":[{"threshold":{"lowerHu":30000}},"surface"]}""" });
        var job = JsonDocument.Parse(await made.Content.ReadAsStringAsync()).RootElement.GetProperty("id").GetString()!;
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        var page = tess.Page;
        await tess.GoAsync($"/bench/{job}");
        await page.GetByText("This model could not be made").WaitForAsync();
        await page.GetByText("Change the plan at the left").WaitForAsync();
        await page.Locator(".plane-transverse").WaitForAsync();
        await tess.KeepAsync("trouble-failed");
        (await tess.AxeAsync()).Should().BeEmpty();
        await ChangeThresholdAsync(page, "300");
        await Button(page, "Make again with this plan").ClickAsync();
        (await PlanOfNextAsync(page, job)).Should().Contain("\"lowerHu\":300");
    }

    [Fact]
    public async Task Two_people_who_judge_one_model_do_not_overrule_each_other_unseen()
    {
        var job = await MadeAsync();
        await using var first = await browsed.VisitAsync(Roles.Coordinator);
        await using var second = await browsed.VisitAsync(Roles.Coordinator);
        // The second one hears of nothing.
        await second.Page.RouteAsync("**/changes", route => route.AbortAsync());
        foreach (var visitor in new[] { first, second })
        {
            await visitor.GoAsync($"/board/{job}");
            await visitor.Page.Locator(".panes.one[data-solid-ms]").WaitForAsync();
        }

        await second.Page.GetByLabel("In words").FillAsync("the left side is missing");
        await Button(first.Page, "It fits").ClickAsync();
        await first.Page.GetByText("It is said that this model fits").WaitForAsync();
        await Button(second.Page, "Send back").ClickAsync();
        await second.Page.GetByText("Somebody else has said something meanwhile").WaitForAsync();
        await second.Page.Locator(".remarks li.fits").WaitForAsync();
        (await second.Page.GetByLabel("In words").InputValueAsync()).Should().Be("the left side is missing", "what was written is kept");
        await second.KeepAsync("trouble-two");
        await Button(second.Page, "Send back").ClickAsync();
        await second.Page.GetByText("It is sent back").WaitForAsync();
        // The first one hears of it by itself.
        await first.Page.Locator(".remarks li.back").WaitForAsync();
    }

    [Fact]
    public async Task A_request_that_somebody_else_changed_is_not_overwritten()
    {
        using var api = await ServiceClient.AsAsync(browsed.Service, Roles.Coordinator, "other-cora");
        var asked = new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "NOBODY-YET" };
        using var made = await api.SendAsync(HttpMethod.Post, "/api/v1/requests/", asked);
        var id = JsonDocument.Parse(await made.Content.ReadAsStringAsync()).RootElement.GetProperty("id").GetString()!;
        await using var cora = await browsed.VisitAsync(Roles.Coordinator);
        await cora.GoAsync($"/board/ask/{id}");
        await cora.Page.GetByLabel("Note").FillAsync("mine");
        using var theirs = await api.SendAsync(HttpMethod.Put, $"/api/v1/requests/{id}", new { asked.purpose, anatomy = "mandible", asked.plan, asked.patientId });
        theirs.EnsureSuccessStatusCode();
        await Button(cora.Page, "Save the change").ClickAsync();
        await cora.Page.GetByText("Somebody else has changed this request meanwhile").WaitForAsync();
        (await cora.Page.GetByLabel("Note").InputValueAsync()).Should().Be("mine");
        await Button(cora.Page, "Show theirs").ClickAsync();
        await Assertions.Expect(cora.Page.GetByLabel("Anatomy")).ToHaveValueAsync("mandible");
    }

    [Fact]
    public async Task Without_WebGL_the_slices_work_and_the_picture_stands_for_the_solid()
    {
        await using var tess = await browsed.VisitAsync(Roles.Technician, addedOptions: "--disable-gpu --disable-3d-apis");
        var page = tess.Page;
        await tess.OpenModelAsync(browsed.Job.Id);
        await page.GetByText("This browser has no WebGL").WaitForAsync();
        (await page.Locator(".no-webgl img").EvaluateAsync<int>("e => e.naturalWidth")).Should().BeGreaterThan(100);
        await Button(page, "Measure").ClickAsync();
        var box = (await page.Locator(".plane-transverse .over").BoundingBoxAsync())!;
        await page.Mouse.MoveAsync(box.X + (box.Width * 0.4f), box.Y + (box.Height * 0.5f));
        await page.Mouse.DownAsync();
        await page.Mouse.MoveAsync(box.X + (box.Width * 0.6f), box.Y + (box.Height * 0.5f), new() { Steps = 4 });
        await page.Mouse.UpAsync();
        await page.Locator(".measures li").WaitForAsync();
        await tess.KeepAsync("trouble-no-webgl");
        (await tess.AxeAsync()).Should().BeEmpty();
        await tess.GoAsync($"/board/{browsed.Job.Id}");
        await page.GetByText("the model cannot be turned").WaitForAsync();
    }

    private async Task<string> MadeAsync()
    {
        var asked = browsed.Service.Jobs.Create(new(Purpose.Education, "wedge two", null, "bone", null, null, null, browsed.SourceId), "tess", null);
        var job = await browsed.Service.Until(() => browsed.Service.Jobs.Find(asked.Id) is { State: JobState.Done or JobState.Failed } j ? j : null, "no model");
        job.State.Should().Be(JobState.Done, "of {0}", job.Reason);
        return job.Id;
    }

    private static async Task ChangeThresholdAsync(IPage page, string lowerHu)
    {
        await page.Locator(".steps summary").Filter(new() { HasTextRegex = new("^threshold") }).ClickAsync();
        await page.Locator("details[open]").GetByLabel("lowerHu").FillAsync(lowerHu);
        await page.Keyboard.PressAsync("Tab");
    }

    /// <summary>Waits for the bench of the next model and gives its plan as JSON.</summary>
    private static async Task<string> PlanOfNextAsync(IPage page, string last)
    {
        await page.WaitForURLAsync(url => url.Contains("/bench/", StringComparison.Ordinal) && !url.EndsWith(last, StringComparison.Ordinal));
        return JsonSerializer.Serialize(await page.EvaluateAsync<JsonElement>($"() => fetch('/api/v1/jobs/{new Uri(page.Url).Segments[^1]}/plan').then(r => r.json())"));
    }

    private static ILocator Button(IPage page, string name) => page.GetByRole(AriaRole.Button, new() { Name = name, Exact = true });
}
