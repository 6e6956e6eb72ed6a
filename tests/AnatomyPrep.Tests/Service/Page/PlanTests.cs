using System.Text.Json;
using System.Text.Json.Nodes;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>A plan that is changed on the page and made again.</summary>
[Collection("Page")]
public sealed class PlanTests(BrowsedService browsed)
{
    [Fact]
    public async Task A_plan_made_again_keeps_its_profile_its_structures_and_whatever_else_was_not_changed()
    {
        using var api = await ServiceClient.AsAsync(browsed.Service, Roles.Technician, "planner");
        var profile = AnatomyPrep.App.Pipeline.ProfileLibrary.Load("vat").Yaml;
        var whole = JsonNode.Parse("""
            {"plan":"two","version":"3","description":"kept","steps":[{"denoise":{"method":"none"}}],
             "structures":[{"name":"hard","colour":"#123456","side":"left","steps":[{"threshold":{"lowerHu":300}},"surface"]},
                           {"name":"rest","steps":[{"threshold":{"lowerHu":-300}},"surface"]}]}
            """)!;
        whole["printProfile"] = AnatomyPrep.App.Pipeline.PlanJson.Of(AnatomyPrep.App.Pipeline.PlanReader.Parse(profile, "profile"));
        using var made = await api.SendAsync(HttpMethod.Post, $"/api/v1/jobs/{browsed.Job.Id}/again", new { plan = whole.ToJsonString() });
        var first = JsonDocument.Parse(await made.Content.ReadAsStringAsync()).RootElement.GetProperty("id").GetString()!;

        await using var tess = await browsed.VisitAsync(Roles.Technician);
        await tess.GoAsync($"/bench/{first}");
        var second = tess.Page.Locator(".step-list").Nth(2);
        await second.Locator("summary").First.ClickAsync();
        (await tess.Page.Locator(".step-list h3").AllInnerTextsAsync()).Should().Equal("For all structures", "hard", "rest");
        await second.GetByLabel("lowerHu").FillAsync("-250");
        await tess.Page.Keyboard.PressAsync("Tab");
        await tess.Page.GetByRole(AriaRole.Button, new() { Name = "Make again with this plan" }).ClickAsync();
        await tess.Page.WaitForURLAsync(url => url.Contains("/bench/", StringComparison.Ordinal) && !url.EndsWith(first, StringComparison.Ordinal));
        var again = new Uri(tess.Page.Url).Segments[^1];

        var kept = JsonNode.Parse((await api.ReadAsync($"/api/v1/jobs/{again}/plan")).GetRawText())!;
        JsonNode.DeepEquals(kept["printProfile"], whole["printProfile"]).Should().BeTrue("the process profile stays");
        kept["description"]!.GetValue<string>().Should().Be("kept");
        kept["version"]!.GetValue<string>().Should().Be("3-changed");
        kept["steps"]![0]!["denoise"]!["method"]!.GetValue<string>().Should().Be("none");
        var structures = kept["structures"]!.AsArray();
        structures.Select(s => s!["name"]!.GetValue<string>()).Should().Equal("hard", "rest");
        structures[0]!["colour"]!.GetValue<string>().Should().Be("#123456");
        structures[0]!["side"]!.GetValue<string>().Should().Be("left");
        structures[1]!["steps"]![0]!["threshold"]!["lowerHu"]!.GetValue<double>().Should().Be(-250);
        structures[0]!["steps"]![0]!["threshold"]!["lowerHu"]!.GetValue<double>().Should().Be(300, "the other structure's step is another");
    }

    [Fact]
    public async Task What_the_request_adds_is_added_to_a_changed_plan_too()
    {
        // A process profile and a scale come from the request; a plan of the page is JSON, to which they are added as well as to YAML.
        using var api = await ServiceClient.AsAsync(browsed.Service, Roles.Technician, "scaler");
        using var asked = await api.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "wedge", plan = "bone", profile = "vat", scale = 0.5, sourceId = browsed.SourceId });
        var job = JsonDocument.Parse(await asked.Content.ReadAsStringAsync()).RootElement.GetProperty("id").GetString()!;
        var plan = (await api.ReadAsync($"/api/v1/jobs/{job}/plan")).GetRawText();
        using var again = await api.SendAsync(HttpMethod.Post, $"/api/v1/jobs/{job}/again", new { plan });
        var made = JsonDocument.Parse(await again.Content.ReadAsStringAsync()).RootElement.GetProperty("id").GetString()!;
        var done = await browsed.Service.Until(() => browsed.Service.Jobs.Find(made) is { State: JobState.Done or JobState.Failed } j ? j : null, "no model");
        done.State.Should().Be(JobState.Done, "of {0}", done.Reason);
        var run = JsonDocument.Parse(await File.ReadAllTextAsync(Path.Combine(browsed.Service.Data, "jobs", made, "1", "model", "run.json"))).RootElement;
        run.GetProperty("steps").EnumerateArray().Last().GetProperty("name").GetString().Should().Be("scale");
        run.GetProperty("plan").GetProperty("text").GetString().Should().Contain("printProfile");
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task A_hole_that_is_picked_in_a_picture_is_filled_and_the_other_stays_open()
    {
        using var api = await ServiceClient.AsAsync(browsed.Service, Roles.Technician, "filler");
        // A slab of the block between two cuts that are not closed.
        var plan = """{"plan":"open","version":"1","steps":[{"threshold":{"lowerHu":300}},"surface",{"cut":{"pointMm":[0,0,20],"normal":[0,0,1],"cap":false}},{"cut":{"pointMm":[0,0,36],"normal":[0,0,-1],"cap":false}}]}""";
        using var made = await api.SendAsync(HttpMethod.Post, $"/api/v1/jobs/{browsed.Job.Id}/again", new { plan });
        var first = JsonDocument.Parse(await made.Content.ReadAsStringAsync()).RootElement.GetProperty("id").GetString()!;
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        await tess.TellingAsync("No hole was picked", async () =>
        {
            var page = tess.Page;
            await tess.OpenModelAsync(first);
            await page.GetByLabel("Add a step").SelectOptionAsync("fill-holes");
            await page.GetByRole(AriaRole.Button, new() { Name = "Add the step" }).ClickAsync();
            await page.GetByRole(AriaRole.Button, new() { Name = "Pick holes" }).ClickAsync();
            var open = await OpenAsync(page, first);
            open.Should().HaveCountGreaterThan(1);
            // The outermost rims: there are the widest first.
            var hole = open.OrderByDescending(h => h.GetProperty("diameterMm").GetDouble()).First();
            var centre = hole.GetProperty("centerMm").EnumerateArray().Select(c => c.GetDouble()).ToArray();
            var at = await page.EvaluateAsync<double[]>("""
                p => {
                  const { scene, panes } = document.getElementById('content').bench;
                  scene.set({ point: p });
                  return new Promise(r => requestAnimationFrame(() => requestAnimationFrame(() => {
                    const pane = panes().find(o => o.layout.plane === 'transverse');
                    const { left, top } = pane.root.getBoundingClientRect();
                    const [x, y] = pane.screenOf(p);
                    r([left + x, top + y]);
                  })));
                }
                """, centre);
            await page.Mouse.ClickAsync((float)at[0], (float)at[1]);
            var number = hole.GetProperty("number").GetInt32();
            await Assertions.Expect(page.Locator("details[open] [data-key$='/holes']")).ToHaveValueAsync($"{number}");
            await tess.KeepAsync("hole");
            await page.GetByRole(AriaRole.Button, new() { Name = "Make again with this plan" }).ClickAsync();
            await page.WaitForURLAsync(url => url.Contains("/bench/", StringComparison.Ordinal) && !url.EndsWith(first, StringComparison.Ordinal));
            var second = new Uri(page.Url).Segments[^1];
            await tess.OpenModelAsync(second);
            var left = await OpenAsync(page, second);
            left.Should().HaveCount(open.Count - 1);
            left.Should().NotContain(h => Math.Abs(h.GetProperty("centerMm")[2].GetDouble() - centre[2]) < 1 && Math.Abs(h.GetProperty("diameterMm").GetDouble() - hole.GetProperty("diameterMm").GetDouble()) < 1, "that one is filled");
        });
    }

    private static async Task<IReadOnlyList<JsonElement>> OpenAsync(IPage page, string job) => [.. (await page.EvaluateAsync<JsonElement>($$"""
        async () => {
          for (;;) {
            const answer = await fetch('/api/v1/jobs/{{job}}/values/holes');
            if (answer.status !== 202) return answer.json();
            await new Promise(r => setTimeout(r, 200));
          }
        }
        """)).EnumerateArray()];
}
