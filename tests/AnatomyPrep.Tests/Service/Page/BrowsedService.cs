using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Series;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>All tests of the page share one service and one browser: starting them takes longer than most tests.</summary>
[CollectionDefinition("Page")]
public sealed class PageCollection : ICollectionFixture<BrowsedService>;

/// <summary>The whole service with one source and one finished model, and Debian's Chromium to look at it.</summary>
public sealed class BrowsedService : IAsyncLifetime, IDisposable
{
    private const string Chromium = "/usr/bin/chromium";

    private const float LongestMs = 180_000;

    internal const string Passphrase = "one passphrase for all keys";

    // Software rendering on a loaded machine is slow, not hung: the watchdog would end it.
    private static readonly string[] s_options = ["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu-watchdog"];

    private readonly Dictionary<string, string> _real = [];
    private readonly TestFolder _folder = new();
    private ServiceClient? _ada;
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
        Assertions.SetDefaultExpectTimeout(LongestMs);
        // Root, as in a container, cannot use Chromium's own sandbox.
        _browser = await _playwright.Chromium.LaunchAsync(new() { ExecutablePath = Chromium, Args = s_options });
    }

    public async Task DisposeAsync()
    {
        await _browser.CloseAsync();
        _playwright.Dispose();
        _ada?.Dispose();
        await Service.DisposeAsync();
    }

    /// <summary>Comes after the other: the service no longer uses the folder.</summary>
    public void Dispose() => _folder.Dispose();

    /// <summary>Brings a series in and makes its model by the preset "bone".</summary>
    internal async Task<(string SourceId, JobEntry Job)> MakeAsync(PhantomSeries phantom, string anatomy, string folder)
    {
        var source = await BringAsync(phantom.Write(folder, RunContext.Default).Select(n => Path.Combine(folder, n)));
        var asked = Service.Jobs.Create(new(Purpose.Education, anatomy, Side.Left, "bone", null, new DateOnly(2030, 1, 31), null, source), "tess", null);
        var job = await Service.Until(() => Service.Jobs.Find(asked.Id) is { State: JobState.Done or JobState.Failed } j ? j : null, "no model");
        job.State.Should().Be(JobState.Done, "of {0}", job.Reason);
        return (source, job);
    }

    /// <summary>Brings files in as they come from anywhere, and gives the source they become; one that is there already is given again.</summary>
    internal async Task<string> BringAsync(IEnumerable<string> files)
    {
        var known = Service.Sources.List(100).Select(s => s.Id).ToHashSet();
        Service.Bring(files);
        return (await Service.Until(() => Service.Sources.List(100).FirstOrDefault(s => !known.Contains(s.Id)), "no source")).Id;
    }

    /// <summary>The source of a series of the shared data, brought in once.</summary>
    internal async Task<string> RealSourceAsync(string series)
    {
        if (!_real.TryGetValue(series, out var source))
            _real[series] = source = await BringAsync(Directory.EnumerateFiles(SharedData.Series(series), "*", SearchOption.AllDirectories));
        return source;
    }

    /// <summary>Gives a person who has made a key the right to sign; the administrator's own key is made first.</summary>
    internal async Task AdmitAsync(string person, string role)
    {
        _ada ??= await AdministratorAsync();
        var waiting = (await _ada.ReadAsync("/api/v1/ledger/people/waiting")).GetProperty("items").EnumerateArray().First(w => w.GetProperty("person").GetString() == person);
        using var answer = await _ada.SendAsync(HttpMethod.Post, $"/api/v1/ledger/people/{person}/admit", new { passphrase = Passphrase, key = waiting.GetProperty("key").GetString(), roles = new[] { role } });
        answer.EnsureSuccessStatusCode();
    }

    private async Task<ServiceClient> AdministratorAsync()
    {
        var client = await ServiceClient.AsAsync(Service, Roles.Administrator, "ada");
        using var key = await client.SendAsync(HttpMethod.Post, "/api/v1/ledger/me/key", new { passphrase = Passphrase, name = "Ada Lindgren" });
        key.EnsureSuccessStatusCode();
        return client;
    }

    /// <summary>A page that knows nobody.</summary>
    internal async Task<IPage> StrangerAsync()
    {
        var context = await _browser.NewContextAsync();
        context.SetDefaultTimeout(LongestMs);
        return await context.NewPageAsync();
    }

    /// <summary>A page of a person of the role, signed in through the form; every request it sends is watched.</summary>
    internal async Task<Visitor> VisitAsync(string role, int width = 1440, int height = 900, bool dark = false, string? addedOptions = null, string? called = null)
    {
        var name = called ?? $"p{Guid.NewGuid():N}"[..12];
        await Service.Accounts.AcceptAsync(Service.Accounts.Invite(role, null), name, ServiceClient.Password);
        var browser = addedOptions is null ? _browser : await _playwright.Chromium.LaunchAsync(new() { ExecutablePath = Chromium, Args = [.. s_options, .. addedOptions.Split(' ')] });
        var context = await browser.NewContextAsync(new() { ViewportSize = new() { Width = width, Height = height }, ColorScheme = dark ? ColorScheme.Dark : ColorScheme.Light });
        // A loaded machine is slow, not broken.
        context.SetDefaultTimeout(LongestMs);
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

    public string Name => _name;

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
        await TellingAsync("The bench did not open", () => Page.Locator(".panes[data-solid-ms][data-slice-ms]").WaitForAsync(new() { State = WaitForSelectorState.Attached }));
        await Page.EvaluateAsync("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))");
    }

    /// <summary>What was not done in time is told with a picture, the browser's complaints and what the page showed.</summary>
    public async Task TellingAsync(string what, Func<Task> work)
    {
        try
        {
            await work();
        }
        catch (Exception e) when (e is TimeoutException or PlaywrightException)
        {
            await KeepAsync("failed");
            throw new TimeoutException($"{what}: {string.Join("; ", Errors)}; at {Page.Url} it shows {await Page.Locator("body").InnerTextAsync()}", e);
        }
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
