using System.Globalization;
using System.Net;
using System.Runtime.InteropServices;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Service.Accounts;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>Numbers at the vertices of a model, and the request that is checked before it is sent.</summary>
[Collection("Page")]
[Trait("Kind", "Slow")]
public sealed class ValuesTests(BrowsedService browsed)
{
    [Fact]
    public async Task Each_vertex_of_the_file_has_a_number_and_the_numbers_are_true()
    {
        using var api = await ServiceClient.AsAsync(browsed.Service, Roles.Technician, "prober");
        var positions = PositionsOf(await (await api.SendAsync(HttpMethod.Get, $"/api/v1/jobs/{browsed.Job.Id}/files/model.glb")).Content.ReadAsByteArrayAsync());
        var wall = await ValuesAsync(api, "wall");
        wall.Should().HaveCount(positions.Length / 3);
        // The block is 10 mm thick or more and its letters' strokes are 5 mm broad: but for edges, where a ball fits less deep, no wall is below 3 mm.
        wall.Count(w => w > 3).Should().BeGreaterThan(wall.Length * 9 / 10);

        // The plan drops pieces and degenerate triangles only: the model is the surface of the images, to float32 of 100 mm (8e-6) and the 0.01 mm a dropped triangle may be high.
        var deviation = await ValuesAsync(api, "deviation");
        deviation.Should().HaveCount(positions.Length / 3);
        deviation.Max(Math.Abs).Should().BeLessThan(0.02f);
        (await ValuesAsync(api, $"other?other={browsed.Job.Id}")).Max(Math.Abs).Should().BeLessThan(1e-4f, "of a model to itself");

        // Edges rise from 0 to 1000 HU within 4 mm: 250 HU in a millimetre, so 50 HU are 0.2 mm, on flat faces exactly but for whole HU (1 in 50).
        var moves = (await ValuesAsync(api, "sensitivity")).Where(float.IsFinite).Order().ToArray();
        moves[moves.Length / 2].Should().BeInRange(0.196f, 0.204f);

        using var holes = await WaitedAsync(api, $"/api/v1/jobs/{browsed.Job.Id}/values/holes");
        JsonDocument.Parse(await holes.Content.ReadAsStringAsync()).RootElement.GetArrayLength().Should().Be(0, "the wedge is closed");
        using var nothing = await api.SendAsync(HttpMethod.Get, $"/api/v1/jobs/{browsed.Job.Id}/values/weight");
        nothing.StatusCode.Should().Be(HttpStatusCode.NotFound);
    }

    [Fact]
    public async Task What_the_images_contradict_is_said_at_their_field_before_the_request_is_sent()
    {
        await using var cora = await browsed.VisitAsync(Roles.Coordinator);
        var page = cora.Page;
        await cora.GoAsync("/board/ask");
        await page.GetByLabel("Anatomy").FillAsync("left foot");
        await page.GetByLabel("Side").SelectOptionAsync("right");
        await page.GetByLabel("Scale").FillAsync("50");
        await page.GetByLabel("Needed by").FillAsync("2020-01-01");
        await page.GetByRole(AriaRole.Button, new() { Name = "Ask for it" }).ClickAsync();
        foreach (var (label, words) in new[] { ("Side", "The anatomy says left"), ("Scale", "From 0.05 to 20"), ("Needed by", "That day is over"), ("Purpose", "Say whether it is for") })
        {
            var control = page.GetByLabel(label);
            await Assertions.Expect(control).ToHaveAttributeAsync("aria-invalid", "true");
            var fault = await control.EvaluateAsync<string>("e => document.getElementById(e.getAttribute('aria-describedby').split(' ')[0]).textContent");
            fault.Should().StartWith(words, "at the field {0}", label);
        }

        (await cora.AxeAsync()).Should().BeEmpty();
        await cora.KeepAsync("ask-faults");
        // Now all of it is right but the images, whose headers say HEAD.
        await page.GetByLabel("Side").SelectOptionAsync("left");
        await page.GetByLabel("Scale").FillAsync("1");
        await page.GetByLabel("Needed by").FillAsync(DateTime.Today.AddDays(3).ToString("yyyy-MM-dd", CultureInfo.InvariantCulture));
        await page.GetByLabel("Purpose").SelectOptionAsync("education");
        await page.GetByLabel("Plan", new() { Exact = true }).SelectOptionAsync("bone");
        await page.GetByLabel("Which images").SelectOptionAsync(browsed.SourceId);
        await Assertions.Expect(page.GetByText("The headers say HEAD, and left foot was asked for.")).ToBeVisibleAsync();
        await Assertions.Expect(page.GetByLabel("Which images")).ToHaveAttributeAsync("aria-invalid", "true");
        await page.GetByLabel("Anatomy").FillAsync("left orbit");
        await Assertions.Expect(page.GetByLabel("Which images")).Not.ToHaveAttributeAsync("aria-invalid", "true");
    }

    private async Task<float[]> ValuesAsync(ServiceClient api, string what)
    {
        using var answer = await WaitedAsync(api, $"/api/v1/jobs/{browsed.Job.Id}/values/{what}");
        return MemoryMarshal.Cast<byte, float>(await answer.Content.ReadAsByteArrayAsync()).ToArray();
    }

    private static async Task<HttpResponseMessage> WaitedAsync(ServiceClient api, string path)
    {
        while (true)
        {
            var answer = await api.SendAsync(HttpMethod.Get, path);
            if (answer.StatusCode != HttpStatusCode.Accepted)
                return answer.StatusCode == HttpStatusCode.OK ? answer : throw new InvalidOperationException(await answer.Content.ReadAsStringAsync());
            answer.Dispose();
            await Task.Delay(100);
        }
    }

    /// <summary>x, y, z of each vertex: the first accessor of the file.</summary>
    private static float[] PositionsOf(byte[] glb)
    {
        var length = BitConverter.ToInt32(glb, 12);
        var json = JsonDocument.Parse(Encoding.UTF8.GetString(glb, 20, length)).RootElement;
        var count = json.GetProperty("accessors")[0].GetProperty("count").GetInt32();
        return MemoryMarshal.Cast<byte, float>(glb.AsSpan(28 + length, 12 * count)).ToArray();
    }
}
