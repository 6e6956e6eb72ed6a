using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Series;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Jobs;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>The whole service with one source and one finished model, and Debian's Chromium to look at it.</summary>
public sealed class BrowsedService : IAsyncLifetime
{
    private const string Chromium = "/usr/bin/chromium";

    private readonly TestFolder _folder = new();
    private IPlaywright _playwright = null!;
    private IBrowser _browser = null!;

    internal RunningService Service { get; private set; } = null!;

    internal string SourceId { get; private set; } = "";

    internal JobEntry Job { get; private set; } = null!;

    public async Task InitializeAsync()
    {
        Service = await RunningService.StartAsync(_folder["data"], RunningService.Receiver("CT1"));
        var phantom = PhantomCatalogue.Create("wedge", new PhantomOptions { SpacingMm = new Vec3(1, 1, 1.5) });
        (SourceId, Job) = await MakeAsync(phantom, "wedge", _folder["wedge"]);
        _playwright = await Playwright.CreateAsync();
        // Root, as in a container, cannot use Chromium's own sandbox.
        _browser = await _playwright.Chromium.LaunchAsync(new() { ExecutablePath = Chromium, Args = ["--no-sandbox", "--disable-dev-shm-usage"] });
    }

    public async Task DisposeAsync()
    {
        await _browser.CloseAsync();
        _playwright.Dispose();
        await Service.DisposeAsync();
        _folder.Dispose();
    }

    /// <summary>Brings a series in and makes its model by the preset "bone".</summary>
    internal async Task<(string SourceId, JobEntry Job)> MakeAsync(PhantomSeries phantom, string anatomy, string folder)
    {
        var known = Service.Sources.List(100).Select(s => s.Id).ToHashSet();
        Service.Bring(phantom.Write(folder, RunContext.Default).Select(n => Path.Combine(folder, n)));
        var source = await Service.Until(() => Service.Sources.List(100).FirstOrDefault(s => !known.Contains(s.Id)), "no source");
        var asked = Service.Jobs.Create(new(Purpose.Education, anatomy, Side.Left, "bone", null, new DateOnly(2030, 1, 31), null, source.Id), "tess", null);
        var job = await Service.Until(() => Service.Jobs.Find(asked.Id) is { State: JobState.Done or JobState.Failed } j ? j : null, "no model");
        job.State.Should().Be(JobState.Done, "of {0}", job.Reason);
        return (source.Id, job);
    }

    /// <summary>A page of a person of the role, signed in through the form; every request it sends is watched.</summary>
    internal async Task<Visitor> VisitAsync(string role, int width = 1440, int height = 900, bool dark = false, string? addedOptions = null)
    {
        var name = $"p{Guid.NewGuid():N}"[..12];
        await Service.Accounts.AcceptAsync(Service.Accounts.Invite(role, null), name, ServiceClient.Password);
        var browser = addedOptions is null ? _browser : await _playwright.Chromium.LaunchAsync(new() { ExecutablePath = Chromium, Args = ["--no-sandbox", "--disable-dev-shm-usage", addedOptions] });
        var context = await browser.NewContextAsync(new() { ViewportSize = new() { Width = width, Height = height }, ColorScheme = dark ? ColorScheme.Dark : ColorScheme.Light });
        var visitor = new Visitor(await context.NewPageAsync(), Service.Address, name, addedOptions is null ? null : browser);
        await visitor.SignInAsync();
        return visitor;
    }
}

/// <summary>One person at the page, and what their browser asked for and complained of.</summary>
internal sealed class Visitor : IAsyncDisposable
{
    private readonly Uri _address;
    private readonly string _name;
    private readonly IBrowser? _ownBrowser;

    internal Visitor(IPage page, Uri address, string name, IBrowser? ownBrowser)
    {
        (Page, _address, _name, _ownBrowser) = (page, address, name, ownBrowser);
        page.Request += (_, request) =>
        {
            if (!request.Url.StartsWith("blob:", StringComparison.Ordinal) && new Uri(request.Url).Authority != address.Authority)
                Strays.Add(request.Url);
        };
        page.Console += (_, message) =>
        {
            if (message.Type == "error")
                Errors.Add(message.Text);
        };
        page.PageError += (_, error) => Errors.Add(error);
    }

    public IPage Page { get; }

    /// <summary>Requests that left the origin.</summary>
    public List<string> Strays { get; } = [];

    /// <summary>Errors of the console: refusals by the policy are among them.</summary>
    public List<string> Errors { get; } = [];

    public async Task SignInAsync()
    {
        await Page.GotoAsync(_address.ToString());
        await Page.GetByLabel("Name").FillAsync(_name);
        await Page.GetByLabel("Password").FillAsync(ServiceClient.Password);
        await Page.Keyboard.PressAsync("Enter");
        await Page.Locator("header.bar").WaitForAsync();
    }

    public Task GoAsync(string path) => Page.GotoAsync(new Uri(_address, path).ToString());

    /// <summary>Opens a model on the bench and waits for its slices and its solid.</summary>
    public async Task OpenModelAsync(string job)
    {
        await GoAsync($"/bench/{job}");
        try
        {
            await Page.Locator(".panes[data-solid-ms][data-slice-ms]").WaitForAsync(new() { State = WaitForSelectorState.Attached, Timeout = 15_000 });
        }
        catch (TimeoutException e)
        {
            await KeepAsync("failed");
            throw new TimeoutException($"The bench did not open: {string.Join("; ", Errors)}; it shows {await Page.Locator("#content").InnerTextAsync()}", e);
        }

        await Page.EvaluateAsync("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))");
    }

    /// <summary>What axe finds against WCAG 2.2 A and AA.</summary>
    public async Task<string[]> AxeAsync()
    {
        var script = await File.ReadAllTextAsync(Path.Combine(Repository.Root, "src/AnatomyPrep.Service/Web/node_modules/axe-core/axe.min.js"));
        // Through the debugger, not as a script of the page: its policy would refuse it, as it should.
        await Page.EvaluateAsync(script);
        return await Page.EvaluateAsync<string[]>("""
            () => axe.run({ runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] })
                .then(r => r.violations.map(v => `${v.id}: ${v.help}; ${v.nodes.map(n => n.target.join(' ') + ' ' + n.failureSummary).join(' | ')}`))
            """);
    }

    /// <summary>Kept under docs/pictures where ANATOMYPREP_PICTURES says so.</summary>
    public async Task KeepAsync(string name)
    {
        if (Environment.GetEnvironmentVariable("ANATOMYPREP_PICTURES") is { Length: > 0 } folder)
            await Page.ScreenshotAsync(new() { Path = Path.Combine(folder, $"{name}.png") });
    }

    public async ValueTask DisposeAsync()
    {
        await Page.Context.CloseAsync();
        if (_ownBrowser is not null)
            await _ownBrowser.CloseAsync();
    }
}
