using AnatomyPrep.Core.Findings;
using AnatomyPrep.Phantoms.Dicom;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Tests.Service.Intake;

/// <summary>What is put into the watched folder becomes a source once it is whole, and its names stay there.</summary>
public sealed class WatchedFolderTests : IDisposable
{
    private readonly TestFolder _folder = new();

    private string Data => _folder["data"];

    private string Watched => Directory.CreateDirectory(_folder["watched"]).FullName;

    private object Settings => new { intake = new { quietSeconds = 0.5, settleSeconds = 1.5, watchedFolder = Watched } };

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task A_folder_that_is_copied_slowly_is_taken_whole_and_once()
    {
        var files = Phantom.Write(Phantom.Ball(slices: 6), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, Settings);
        var delivery = Directory.CreateDirectory(Path.Combine(Watched, "Nobody Invented 1937", "deep")).FullName;
        foreach (var file in files)
        {
            File.Copy(file, Path.Combine(delivery, Path.GetFileName(file)));
            await Task.Delay(300);
        }

        var source = await Source(service);
        source.Files.Should().Be(files.Count, "it was not taken before it was whole");
        await Task.Delay(3000);
        service.Events.After(0, 100).Count(e => e.Event.Kind == "delivery.taken").Should().Be(1);
        service.Sources.List(10).Should().ContainSingle();
        Directory.GetFiles(delivery).Should().HaveCount(files.Count, "the folder is never changed");
        (service.Log.Text + string.Join('\n', service.Events.After(0, 100).Select(e => e.Event.ToString()))).Should().NotContain("Nobody");
        File.ReadAllText(Path.Combine(Data, "service.db"), System.Text.Encoding.Latin1).Should().NotContain("Nobody");
    }

    [Fact]
    public async Task Links_are_not_followed_and_other_files_are_refused()
    {
        var secret = _folder["secret.dcm"];
        File.Move(Phantom.Write(Phantom.Ball(slices: 2), _folder["ct"])[0], secret);
        File.CreateSymbolicLink(Path.Combine(Watched, "link.dcm"), secret);
        Directory.CreateSymbolicLink(Path.Combine(Watched, "linked"), _folder["ct"]);
        File.WriteAllText(Path.Combine(Watched, "note.txt"), "not a picture");
        await using var service = await RunningService.StartAsync(Data, Settings);
        await service.Until(() => service.Events.After(0, 100).FirstOrDefault(e => e.Event.Kind == "arrival.refused" && e.Event.Code == FindingCodes.FileNotDicom), "the note was not refused");
        await service.Settled();
        service.Sources.List(10).Should().BeEmpty();
        service.Events.After(0, 100).Count(e => e.Event.Kind == "delivery.taken").Should().Be(1);
    }

    [Fact]
    public async Task What_was_taken_is_not_taken_again_after_a_restart_but_what_was_added_is()
    {
        var files = Phantom.Write(Phantom.Ball() with { Identity = Identity.Invented with { PatientId = "INVENTED-W" } }, _folder["ct"]);
        var delivery = Directory.CreateDirectory(Path.Combine(Watched, "one")).FullName;
        foreach (var file in files.Take(6))
            File.Copy(file, Path.Combine(delivery, Path.GetFileName(file)));
        await using (var service = await RunningService.StartAsync(Data, Settings))
            (await Source(service)).Files.Should().Be(6);
        await using var again = await RunningService.StartAsync(Data, Settings);
        await Task.Delay(3000);
        again.Events.After(0, 100).Count(e => e.Event.Kind == "delivery.taken").Should().Be(1);
        foreach (var file in files.Skip(6))
            File.Copy(file, Path.Combine(delivery, Path.GetFileName(file)));
        (await again.Until(() => again.Sources.List(10).FirstOrDefault(s => s.Files == files.Count), "the rest was not taken")).ReplacedBy.Should().BeNull();
    }

    private static Task<SourceEntry> Source(RunningService service) => service.Until(() => service.Sources.List(1) is [var source] ? source : null, "no source");
}
