using AnatomyPrep.Service.Accounts;
using Xunit.Abstractions;

namespace AnatomyPrep.Tests.Service.Page;

[Collection("Page")]
public sealed class BenchTests(BrowsedService browsed, ITestOutputHelper output)
{
    [Fact]
    public async Task The_list_and_the_bench_are_clean_for_axe_and_for_the_policy_and_stay_within_the_origin()
    {
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        await tess.Page.Locator(".card img").First.WaitForAsync();
        (await tess.AxeAsync()).Should().BeEmpty("of the list");
        await tess.KeepAsync("bench-list");
        await tess.OpenModelAsync(browsed.Job.Id);
        (await tess.AxeAsync()).Should().BeEmpty("of the bench");
        await tess.KeepAsync("bench-wedge");
        await tess.Page.Keyboard.PressAsync("?");
        (await tess.AxeAsync()).Should().BeEmpty("of the keys");
        tess.Strays.Should().BeEmpty();
        // Before there is a session, the page asks whether there is one: that answer is the only refusal.
        tess.Errors.Should().OnlyContain(e => e.Contains("401"));
    }

    [Fact]
    public async Task Left_is_left_and_the_letters_stand_where_the_axes_point()
    {
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        await tess.OpenModelAsync(browsed.Job.Id);
        foreach (var (plane, letters) in new[] { ("transverse", "R L A P"), ("frontal", "R L H F"), ("sagittal", "A P H F") })
            (await tess.Page.EvaluateAsync<string>($"() => ['left', 'right', 'top', 'bottom'].map(l => document.querySelector('.plane-{plane} .letter.' + l).textContent).join(' ')")).Should().Be(letters);
        (await tess.Page.EvaluateAsync<bool>("""
            () => {
              const { scene, panes } = document.getElementById('content').bench;
              const pane = panes().find(p => p.layout.plane === 'frontal');
              const [left] = pane.screenOf([30, 0, 0]), [right] = pane.screenOf([-30, 0, 0]);
              return left > right;
            }
            """)).Should().BeTrue("a point on the patient's left, +x in LPS, is on the right of the screen");
    }

    [Fact]
    public async Task The_outline_lies_where_the_grey_values_cross_the_threshold_within_half_a_pixel()
    {
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        await tess.OpenModelAsync(browsed.Job.Id);
        // Along every row and column of each slice the raw HU, fetched anew, cross 300 between two samples; linear interpolation says where.
        // The outline's segments are asked for their distance to it, in samples. What the plan closed or dropped has no outline, so each point of the outline is
        // compared with the nearest crossing, not the other way round.
        var worst = await tess.Page.EvaluateAsync<double[]>("""
            async () => {
              const { panes, volume } = document.getElementById('content').bench;
              const answers = [];
              for (const pane of panes()) {
                const [w, h] = volume.shape(pane.axis);
                const { across, down, fixed } = pane.layout;
                let most = 0, points = 0;
                for (const share of [0.35, 0.5, 0.6]) {
                  const n = Math.round(volume.count(pane.axis) * share);
                  const hu = new Int16Array(await (await fetch(`/api/v1/sources/${volume.sourceId}/volume/${pane.axis}/${n}`)).arrayBuffer());
                  const crossings = [];
                  for (let v = 0; v < h; v++) for (let u = 0; u < w; u++) {
                    const a = hu[v * w + u];
                    if (u + 1 < w && (a >= 300) !== (hu[v * w + u + 1] >= 300)) crossings.push([u + (300 - a) / (hu[v * w + u + 1] - a), v]);
                    if (v + 1 < h && (a >= 300) !== (hu[(v + 1) * w + u] >= 300)) crossings.push([u, v + (300 - a) / (hu[(v + 1) * w + u] - a)]);
                  }
                  const segments = pane.outlinesOf(n)[0];
                  for (const [x, y] of crossings) {
                    let best = Infinity;
                    for (let s = 0; s < segments.length; s += 4) {
                      const [ax, ay, bx, by] = segments.slice(s, s + 4);
                      const [dx, dy] = [bx - ax, by - ay];
                      const t = Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
                      best = Math.min(best, Math.hypot(x - ax - t * dx, y - ay - t * dy));
                    }
                    if (best < Infinity) { most = Math.max(most, best); points++; }
                  }
                }
                answers.push(points, most);
              }
              return answers;
            }
            """);
        for (var plane = 0; plane < 3; plane++)
        {
            worst[2 * plane].Should().BeGreaterThan(100, "points were compared");
            worst[(2 * plane) + 1].Should().BeLessThan(0.5, "of plane {0}, in samples", plane);
        }

        output.WriteLine($"largest distance of grey crossing and outline, in samples: {worst[1]:F4}, {worst[3]:F4}, {worst[5]:F4}");
    }

    [Fact]
    public async Task A_click_on_the_solid_moves_the_point_of_the_slices_to_that_place_within_half_a_voxel()
    {
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        await tess.OpenModelAsync(browsed.Job.Id);
        var box = (await tess.Page.Locator(".pane.solid .over").BoundingBoxAsync())!;
        foreach (var (x, y) in new[] { (0.5f, 0.5f), (0.4f, 0.55f), (0.6f, 0.45f) })
        {
            await tess.Page.Mouse.ClickAsync(box.X + (x * box.Width), box.Y + (y * box.Height));
            // The point back on the screen is where the click was; on the slices, the number shown is the nearest to the point; and the point is on the surface.
            var apart = await tess.Page.EvaluateAsync<double[]>("""
                ([x, y]) => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r))).then(() => {
                  const { scene, panes, solid, volume } = document.getElementById('content').bench;
                  const [sx, sy] = solid().screenOf(scene.state.point);
                  const index = volume.space.toIndex(scene.state.point);
                  return [Math.hypot(sx - x, sy - y), ...panes().map(p => Math.abs(p.slice - index[p.layout.fixed]))];
                })
                """, new double[] { x * box.Width, y * box.Height });
            apart[0].Should().BeLessThan(1, "the point is under the pointer");
            apart[1..].Should().OnlyContain(d => d <= 0.5, "the slices are those of the point");
        }
    }

    [Fact]
    public async Task The_value_under_the_pointer_is_the_one_that_the_service_holds()
    {
        await using var tess = await browsed.VisitAsync(Roles.Technician);
        await tess.OpenModelAsync(browsed.Job.Id);
        var box = (await tess.Page.Locator(".plane-transverse .over").BoundingBoxAsync())!;
        await tess.Page.Mouse.MoveAsync(box.X + (box.Width * 0.47f), box.Y + (box.Height * 0.52f));
        var (shown, held) = (await tess.Page.Locator(".plane-transverse .reading").InnerTextAsync(), await tess.Page.EvaluateAsync<int>("""
            async ([x, y]) => {
              const { panes, volume } = document.getElementById('content').bench;
              const pane = panes().find(p => p.layout.plane === 'transverse');
              const [i, j, k] = volume.space.toIndex(pane.pointAt(x, y)).map(Math.round);
              const all = new Int16Array(await (await fetch(`/api/v1/sources/${volume.sourceId}/volume/samples`, { headers: { Range: `bytes=${2 * ((k * volume.header.rows + j) * volume.header.columns + i)}-${2 * ((k * volume.header.rows + j) * volume.header.columns + i) + 1}` } })).arrayBuffer());
              return all[0];
            }
            """, new double[] { box.Width * 0.47f, box.Height * 0.52f }));
        shown.Should().EndWith($" {held} HU");
    }
}
