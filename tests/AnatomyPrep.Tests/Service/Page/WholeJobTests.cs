using System.Text.Json;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>Each of the three does the whole job on a real series, with the mouse and with the keyboard alone. One of them is in every run of the tests; it takes some ten seconds.</summary>
[Collection("Page")]
[Trait("Needs", "Shared")]
public sealed class WholeJobTests(BrowsedService browsed)
{
    private const string Small = "body-human-feet-first-padding";
    private const string Tilted = "head-human-tilt-uneven";
    private const string Large = "head-phantom-1mm";

    [Theory]
    [Trait("Kind", "Slow")]
    [InlineData(Small, false)]
    [InlineData(Small, true)]
    public Task A_technician_makes_a_model_changes_its_plan_and_compares_the_two(string series, bool keyboard) => TechnicianAsync(series, keyboard);

    [Theory]
    [Trait("Kind", "Slow")]
    [InlineData(Tilted, false)]
    [InlineData(Tilted, true)]
    [InlineData(Large, false)]
    [InlineData(Large, true)]
    public Task A_technician_does_it_on_a_large_series(string series, bool keyboard) => TechnicianAsync(series, keyboard);

    [Theory]
    [Trait("Kind", "Slow")]
    [InlineData(Small, false)]
    [InlineData(Small, true)]
    public Task A_coordinator_asks_looks_marks_and_sends_back(string series, bool keyboard) => CoordinatorAsync(series, keyboard);

    [Theory]
    [Trait("Kind", "Slow")]
    [InlineData(Tilted, false)]
    [InlineData(Tilted, true)]
    [InlineData(Large, false)]
    [InlineData(Large, true)]
    public Task A_coordinator_does_it_on_a_large_series(string series, bool keyboard) => CoordinatorAsync(series, keyboard);

    [Fact]
    public Task A_quality_officer_checks_signs_looks_up_and_exports() => QualityAsync(Small, keyboard: false);

    [Fact]
    [Trait("Kind", "Slow")]
    public Task A_quality_officer_does_it_by_keys() => QualityAsync(Small, keyboard: true);

    [Theory]
    [Trait("Kind", "Slow")]
    [InlineData(Tilted, false)]
    [InlineData(Tilted, true)]
    [InlineData(Large, false)]
    [InlineData(Large, true)]
    public Task A_quality_officer_does_it_on_a_large_series(string series, bool keyboard) => QualityAsync(series, keyboard);

    private async Task TechnicianAsync(string series, bool keyboard)
    {
        var source = await browsed.RealSourceAsync(series);
        await using var tess = await browsed.VisitAsync(Roles.Technician, dark: keyboard);
        await tess.TellingAsync("The technician did not get on", () => MakeChangeCompareAsync(tess, series, source, keyboard));
        tess.Strays.Should().BeEmpty();
    }

    private static async Task MakeChangeCompareAsync(Visitor tess, string series, string source, bool keyboard)
    {
        var page = tess.Page;
        var hands = new Hands(page, keyboard);
        await hands.PressAsync(Button(page, "New model"));
        var form = page.GetByRole(AriaRole.Dialog);
        await form.GetByLabel("Images", new() { Exact = true }).WaitForAsync();
        await ChooseImagesAsync(hands, form.GetByLabel("Images", new() { Exact = true }), source);
        await hands.WriteAsync(form.GetByLabel("Anatomy"), "skull");
        await hands.PressAsync(form.GetByRole(AriaRole.Button, new() { Name = "Make it" }));
        await page.WaitForURLAsync(url => url.Contains("/bench/", StringComparison.Ordinal));
        var first = await MadeAsync(page);
        await hands.PressAsync(Button(page, "Soft tissue"));

        // The region by its HU, then a cut, both as steps of the plan.
        await hands.PressAsync(Button(page, "Choose by picture"));
        await hands.WriteAsync(page.GetByLabel("From, HU").Last, "350");
        await page.Keyboard.PressAsync("Tab");
        await hands.PressAsync(Button(page, "Put into the plan"));
        await hands.ChooseAsync(page.GetByLabel("Add a step"), "cut");
        await hands.PressAsync(Button(page, "Add the step"));
        await hands.PressAsync(Button(page, "Draw the cut"));
        await DrawCutAsync(page, hands);
        await Assertions.Expect(page.Locator("details[open] [data-key$='pointMm']")).Not.ToHaveValueAsync("");
        await tess.KeepAsync($"whole-technician-{series}-{(keyboard ? "keyboard-dark" : "mouse")}");
        await hands.PressAsync(Button(page, "Make again with this plan"));
        await page.WaitForURLAsync(url => url.Contains("/bench/", StringComparison.Ordinal) && !url.EndsWith(first, StringComparison.Ordinal));
        var second = await MadeAsync(page);

        var plan = JsonSerializer.Serialize(await page.EvaluateAsync<JsonElement>($"() => fetch('/api/v1/jobs/{second}/plan').then(r => r.json())"));
        plan.Should().Contain("\"lowerHu\":350").And.Contain("\"cut\":{");
        // Before and after: the other model is there already, and B shows it.
        await Assertions.Expect(page.GetByLabel("Compare with")).ToHaveValueAsync(first);
        var before = page.GetByRole(AriaRole.Button, new() { Name = "Before: show the other" });
        await hands.PressAsync(before);
        await Assertions.Expect(before).ToHaveAttributeAsync("aria-pressed", "true");
        await hands.ChooseAsync(page.GetByLabel("Colour by"), "deviation from the other");
        await page.Locator(".scale").WaitForAsync();
        await tess.KeepAsync($"whole-technician-{series}-compared-{(keyboard ? "keyboard-dark" : "mouse")}");
    }

    private async Task CoordinatorAsync(string series, bool keyboard)
    {
        var source = await browsed.RealSourceAsync(series);
        await using var cora = await browsed.VisitAsync(Roles.Coordinator, 1180, 820, keyboard);
        await cora.TellingAsync("The coordinator did not get on", () => AskLookSendBackAsync(cora, series, source, keyboard));
    }

    private async Task AskLookSendBackAsync(Visitor cora, string series, string source, bool keyboard)
    {
        var page = cora.Page;
        var hands = new Hands(page, keyboard);
        await hands.PressAsync(Button(page, "Ask for a model"));
        // Sent too early, what is missing is said at its field.
        await hands.PressAsync(Button(page, "Ask for it"));
        await Assertions.Expect(page.GetByText("Say what the model is of.")).ToBeVisibleAsync();
        (await page.GetByLabel("Anatomy").EvaluateAsync<bool>("e => e === document.activeElement")).Should().BeTrue("the first that is wrong has the focus");
        // Its own name: the models of the other rows stand on the same board.
        var anatomy = $"skull {series} {(keyboard ? "keys" : "mouse")}";
        await hands.WriteAsync(page.GetByLabel("Anatomy"), anatomy);
        await hands.ChooseAsync(page.GetByLabel("Purpose"), "education");
        await hands.DateAsync(page.GetByLabel("Needed by"), DateOnly.FromDateTime(DateTime.Today.AddDays(2)));
        await ChooseImagesAsync(hands, page.GetByLabel("Which images"), source);
        await hands.ChooseAsync(page.GetByLabel("Plan", new() { Exact = true }), "bone:");
        await hands.PressAsync(Button(page, "Ask for it"));
        await page.WaitForURLAsync("**/board");
        await hands.PressAsync(page.GetByRole(AriaRole.Link, new() { Name = $"Look at {anatomy}" }).First);
        await page.Locator(".panes.one[data-solid-ms]").WaitForAsync();

        // Turn it, measure it, put a mark where the pane's middle meets it.
        var pane = page.Locator(".pane.solid");
        await hands.PressAsync(Button(page, "Measure"));
        await PlaceAsync(page, hands, pane, 0.5f, 0.5f);
        for (var k = 0; keyboard && k < 3; k++)
            await page.Keyboard.PressAsync("Shift+ArrowLeft");
        await PlaceAsync(page, hands, pane, 0.53f, 0.5f);
        await page.Locator(".measures li").WaitForAsync();
        await hands.PressAsync(Button(page, "Mark a place"));
        await PlaceAsync(page, hands, pane, 0.5f, 0.5f);
        await hands.WriteAsync(page.GetByLabel("What is wrong at mark 1"), "a hole here");
        await cora.KeepAsync($"whole-coordinator-{series}-{(keyboard ? "keyboard-dark" : "mouse")}");
        await hands.PressAsync(Button(page, "Send back"));
        await page.GetByText("It is sent back").WaitForAsync();
        var job = new Uri(page.Url).Segments[^1];
        var mark = (await page.EvaluateAsync<JsonElement>($"() => fetch('/api/v1/jobs/{job}/remarks').then(r => r.json())")).GetProperty("items")[0].GetProperty("marks")[0];
        mark.GetProperty("words").GetString().Should().Be("a hole here");
        mark.GetProperty("onModel").GetBoolean().Should().BeFalse("it is a place of the images");
        await hands.PressAsync(Button(page, "Back to the board"));
        await page.Locator(".card").Filter(new() { HasText = anatomy }).GetByText("sent back to the bench").WaitForAsync();

        // The technician sees the mark on the solid and on the slices.
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        await tess.OpenModelAsync(job);
        await tess.Page.GetByRole(AriaRole.Button, new() { Name = "Show mark 1" }).ClickAsync();
        var seen = await tess.Page.EvaluateAsync<double[]>("""
            ([x, y, z]) => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r))).then(() => {
              const { scene, panes, solid } = document.getElementById('content').bench;
              const flag = scene.state.remarks[0];
              // Pink of a flag, counted in each pane about the place where the mark must be.
              const pinks = [...panes(), solid()].map(pane => {
                const canvas = pane.root.querySelector('canvas.over');
                const [sx, sy] = pane.screenOf([x, y, z]);
                const ratio = canvas.width / pane.root.clientWidth;
                const data = canvas.getContext('2d').getImageData(Math.round(sx * ratio) - 2, Math.round((sy - 26) * ratio), 20 * ratio, 28 * ratio).data;
                let count = 0;
                for (let i = 0; i < data.length; i += 4) if (data[i] > 230 && Math.abs(data[i + 1] - 143) < 40 && Math.abs(data[i + 2] - 163) < 40 && data[i + 3] > 128) count++;
                return count;
              });
              return [Math.hypot(flag.at[0] - x, flag.at[1] - y, flag.at[2] - z), ...pinks];
            })
            """, mark.GetProperty("atMm").EnumerateArray().Select(c => c.GetDouble()).ToArray());
        seen[0].Should().BeLessThan(1e-6);
        seen[1..].Should().HaveCount(4).And.OnlyContain(count => count > 20, "the flag is drawn on three slices and on the solid");
    }

    private async Task QualityAsync(string series, bool keyboard)
    {
        var source = await browsed.RealSourceAsync(series);
        var job = browsed.Service.Jobs.Create(new(Purpose.Education, $"skull {(keyboard ? "k" : "m")}", null, "bone", null, null, null, source), "tess", null);
        await browsed.Service.Until(() => browsed.Service.Jobs.Find(job.Id) is { State: JobState.Done } j ? j : null, "no model");
        await using var quinn = await browsed.VisitAsync(Roles.QualityOfficer, dark: keyboard);
        await quinn.TellingAsync("The quality officer did not get on", () => CheckSignExportAsync(quinn, series, job, keyboard));
        quinn.Strays.Should().BeEmpty();
    }

    private async Task CheckSignExportAsync(Visitor quinn, string series, JobEntry job, bool keyboard)
    {
        var page = quinn.Page;
        var hands = new Hands(page, keyboard);
        await hands.WriteAsync(page.GetByLabel("Your name, as printed with signatures"), "Quinn Moreau");
        await hands.WriteAsync(page.GetByLabel("Passphrase, 12 characters or more"), BrowsedService.Passphrase);
        await hands.WriteAsync(page.GetByLabel("The same again"), BrowsedService.Passphrase);
        await hands.PressAsync(Button(page, "Make the key"));
        await page.GetByText("Your key waits").WaitForAsync();
        await browsed.AdmitAsync(quinn.Name, "qualityOfficer");
        await quinn.GoAsync("/proof");
        await page.GetByText("You sign as Quinn Moreau").WaitForAsync();

        await hands.PressAsync(page.GetByRole(AriaRole.Link, new() { Name = $"M-{job.Id}/1" }));
        await page.Locator(".notice.holds").WaitForAsync();
        (await page.Locator(".bead:not(.holds)").CountAsync()).Should().Be(0);
        await SignAllAsync(page, hands);
        await page.GetByText("State: released.").WaitForAsync();
        await page.Locator(".notice.holds").WaitForAsync();
        await quinn.KeepAsync($"whole-quality-{series}-{(keyboard ? "keyboard-dark" : "mouse")}");

        await hands.PressAsync(page.GetByRole(AriaRole.Navigation).GetByRole(AriaRole.Link, new() { Name = "Proof" }));
        await hands.ChooseAsync(page.GetByLabel("By", new() { Exact = true }), "person");
        await hands.WriteAsync(page.GetByLabel("Value", new() { Exact = true }), quinn.Name);
        await hands.PressAsync(Button(page, "Look up"));
        await page.GetByRole(AriaRole.Region, new() { Name = "Answer" }).GetByRole(AriaRole.Link, new() { Name = $"M-{job.Id}/1" }).WaitForAsync();
        await hands.CheckAsync(page.GetByLabel($"Choose M-{job.Id}/1"));
        await hands.PressAsync(Button(page, "Export the chosen"));
        await hands.WriteAsync(page.GetByLabel("Passphrase of your key"), BrowsedService.Passphrase);
        var download = await page.RunAndWaitForDownloadAsync(() => hands.PressAsync(page.GetByRole(AriaRole.Button, new() { Name = "Sign", Exact = true })));
        using var zip = System.IO.Compression.ZipFile.OpenRead(await download.PathAsync());
        zip.Entries.Select(e => e.FullName).Should().Contain("manifest.json").And.Contain("head.json");
    }

    /// <summary>Acknowledges every caution with a reason, approves, releases.</summary>
    private static async Task SignAllAsync(IPage page, Hands hands)
    {
        foreach (var act in Enumerable.Repeat("Acknowledge a caution", await OpenCautionsAsync(page)).Concat(["Approve the prepared model", "Release"]))
        {
            await hands.PressAsync(Button(page, act));
            var dialog = page.GetByRole(AriaRole.Dialog);
            await dialog.GetByText("For education and planning only").WaitForAsync();
            await hands.WriteAsync(dialog.Locator("textarea"), "Looked at, known of this series.");
            await hands.WriteAsync(dialog.GetByLabel("Passphrase of your key"), BrowsedService.Passphrase);
            await hands.PressAsync(dialog.GetByRole(AriaRole.Button, new() { Name = "Sign", Exact = true }));
            await dialog.WaitForAsync(new() { State = WaitForSelectorState.Detached });
            await page.Locator(".bead.holds").First.WaitForAsync();
        }
    }

    private static Task<int> OpenCautionsAsync(IPage page) =>
        page.EvaluateAsync<int>("() => fetch(`/api/v1/ledger/models/${location.pathname.slice(7)}`).then(r => r.json()).then(a => a.facts.openCautions.length)");

    /// <summary>From left to right across the frontal pane, aslant through its middle: the smallest series is 2 mm high, and a cut that misses the model stops the run.</summary>
    private static async Task DrawCutAsync(IPage page, Hands hands)
    {
        var pane = page.Locator(".pane.plane-frontal");
        if (!hands.Keyboard)
        {
            var box = (await pane.Locator(".over").BoundingBoxAsync())!;
            await page.Mouse.MoveAsync(box.X + (box.Width * 0.2f), box.Y + (box.Height * 0.55f));
            await page.Mouse.DownAsync();
            await page.Mouse.MoveAsync(box.X + (box.Width * 0.8f), box.Y + (box.Height * 0.45f), new() { Steps = 5 });
            await page.Mouse.UpAsync();
            return;
        }

        await hands.ReachAsync(pane);
        await page.Keyboard.PressAsync("Enter");
        for (var k = 0; k < 3; k++)
            await page.Keyboard.PressAsync("Shift+ArrowRight");
        await page.Keyboard.PressAsync("Enter");
        await page.Keyboard.PressAsync("Shift+Enter");
    }

    /// <summary>A click on the model where it is seen nearest to a share of the pane; by keys Enter, which takes what is nearest to the middle.</summary>
    private static async Task PlaceAsync(IPage page, Hands hands, ILocator pane, float x, float y)
    {
        if (hands.Keyboard)
        {
            await hands.ReachAsync(pane);
            await page.Keyboard.PressAsync("Enter");
            return;
        }

        var box = (await pane.Locator(".over").BoundingBoxAsync())!;
        var seen = await page.EvaluateAsync<double[]>("""
            ([x, y]) => {
              const solid = document.getElementById('content').look.solid();
              const { clientWidth: w, clientHeight: h } = solid.root;
              for (let r = 0; r < Math.max(w, h); r += 6) for (let turn = 0; turn < 24; turn++) {
                const at = [x * w + r * Math.cos(turn * Math.PI / 12), y * h + r * Math.sin(turn * Math.PI / 12)];
                if (at[0] > 0 && at[1] > 0 && at[0] < w && at[1] < h && solid.pointAt(...at)) return at;
              }
              throw new Error('the model is not to be seen');
            }
            """, new double[] { x, y });
        await page.Mouse.ClickAsync(box.X + (float)seen[0], box.Y + (float)seen[1]);
    }

    private static async Task ChooseImagesAsync(Hands hands, ILocator select, string source)
    {
        var label = await select.EvaluateAsync<string>("(e, id) => [...e.options].find(o => o.value === id).textContent", source);
        if (hands.Keyboard)
        {
            // Several may begin alike: down from the first.
            await hands.ReachAsync(select);
            for (var k = 0; k < 50 && await select.InputValueAsync() != source; k++)
                await select.Page.Keyboard.PressAsync("ArrowDown");
            (await select.InputValueAsync()).Should().Be(source);
        }
        else
        {
            await hands.ChooseAsync(select, label);
        }
    }

    private static async Task<string> MadeAsync(IPage page)
    {
        await page.Locator(".panes[data-solid-ms][data-slice-ms]").WaitForAsync(new() { State = WaitForSelectorState.Attached });
        return new Uri(page.Url).Segments[^1];
    }

    private static ILocator Button(IPage page, string name) => page.GetByRole(AriaRole.Button, new() { Name = name, Exact = true });
}
