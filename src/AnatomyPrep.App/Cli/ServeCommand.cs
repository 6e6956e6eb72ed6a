using System.CommandLine;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Service.Hosting;
using Microsoft.AspNetCore.Builder;
using Microsoft.Extensions.Hosting;

namespace AnatomyPrep.App.Cli;

/// <summary>serve [--data DIR] [--urls URL]: the worker service with receiver, page and API.</summary>
internal static class ServeCommand
{
    public static Command Create(CommandContext context)
    {
        var data = new Option<string?>("--data") { Description = "Folder of the service; everything it keeps is there (default: the program's home folder)" };
        var urls = new Option<string>("--urls") { Description = "Address of page and API", DefaultValueFactory = _ => "http://127.0.0.1:5080" };
        var command = new Command("serve", "Run the worker service: receiver, page and API") { data, urls };
        command.SetAction((parsed, cancellation) => RunAsync(context, parsed.GetValue(data) ?? context.Bench.Folders.Home, parsed.GetValue(urls)!, cancellation));
        return command;
    }

    private static async Task<int> RunAsync(CommandContext context, string data, string urls, CancellationToken cancellation)
    {
        var folders = new AppFolders(data);
        var app = ServiceHost.Create(StartOf(context.Bench, folders.Home, urls), context.Bench.Clock, services => Program.AddLog(services, folders));
        await using (app.ConfigureAwait(false))
        {
            await app.StartAsync(cancellation).ConfigureAwait(false);
            context.Output.Say(SafetyNotice.Text);
            foreach (var url in app.Urls)
                Output.WriteResult($"page {url}");
            if (app.Services.GetService(typeof(ServiceSettings)) is ServiceSettings { Receiver.Enabled: true })
                Output.WriteResult($"receiver port {await ServiceHost.ReceiverPort(app).WaitAsync(cancellation).ConfigureAwait(false)}");
            if (ServiceHost.InviteFirst(app) is { } secret)
            {
                Output.WriteResult($"first administrator {Reachable(app.Urls.First())}/invitation?token={secret}");
                context.Output.Say("Open that link in a browser, or: ./anatomyprep join 'LINK' --account NAME --token-file FILE");
            }

            await app.WaitForShutdownAsync(cancellation).ConfigureAwait(false);
        }

        return ExitCodes.Done;
    }

    /// <summary>Every address of the machine is none to open: its own does, here.</summary>
    private static string Reachable(string url) => url.Replace("//0.0.0.0:", "//127.0.0.1:", StringComparison.Ordinal).Replace("//[::]:", "//[::1]:", StringComparison.Ordinal);

    internal static ServiceStart StartOf(Workbench bench, string data, string urls) => new(
        data,
        urls,
        ReaderCommand.ThisProgram(),
        SourceLoader.Reader,
        [.. PlanLibrary.Presets.Select(name => Describe(bench.Plans.Load(name), name))],
        [.. ProfileLibrary.Names.Select(name => ProfileLibrary.Load(name)).Zip(ProfileLibrary.Names, (p, name) => new CatalogueText(name, ProfilesCommand.Describe(p.Profile), p.Yaml))],
        SafetyNotice.Text);

    private static CatalogueText Describe(PlanText plan, string name) => new(name, plan.Plan.Description, plan.Yaml, plan.CanScale);
}
