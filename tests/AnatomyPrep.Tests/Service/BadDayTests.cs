using System.Diagnostics;
using System.Net;
using System.Net.Http.Json;
using System.Net.Sockets;
using System.Text.Json;
using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Requests;

namespace AnatomyPrep.Tests.Service;

/// <summary>Full disk, dead database, dead receiver, the same asked for twice: what is wrong can be seen with its remedy, and nothing is lost or doubled.</summary>
public sealed class BadDayTests : IDisposable
{
    private readonly TestFolder _folder = new();

    private string Data => _folder["data"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task A_full_disk_is_told_of_nothing_half_is_kept_and_it_goes_on_when_there_is_room()
    {
        var files = Phantom.Write(Phantom.Ball(slices: 4), _folder["ct"]);
        using var disk = new SmallDisk(Data, megabytes: 48);
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.3 }, storage = new { leastFreeMegabytes = 8 } });
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician);
        var upload = await Begin(tom);
        disk.Fill(leaveMegabytes: 1);

        using var piece = await tom.SendAsync(HttpMethod.Put, $"/api/v1/uploads/{upload}/files/0", new byte[4 << 20], ("Upload-Offset", "0"));
        piece.StatusCode.Should().Be(HttpStatusCode.InsufficientStorage, "a piece that the disk does not take is not said to be there");
        using var begun = await tom.SendAsync(HttpMethod.Post, "/api/v1/uploads/");
        begun.StatusCode.Should().Be(HttpStatusCode.InsufficientStorage);
        using var ready = await tom.SendAsync(HttpMethod.Get, "/health/ready");
        ready.StatusCode.Should().Be(HttpStatusCode.ServiceUnavailable);
        await service.Until(() => service.Events.After(0, 500).FirstOrDefault(e => e.Event.Kind == "disk.full"), "no event of the full disk");

        disk.Free();
        await service.Until(() => service.Events.After(0, 500).FirstOrDefault(e => e.Event.Kind == "disk.freed"), "no event of the freed disk");
        var there = (await tom.ReadAsync($"/api/v1/uploads/{upload}")).GetProperty("files");
        var has = there.GetArrayLength() == 0 ? 0 : there[0].GetProperty("bytes").GetInt64();
        has.Should().BeLessThan(4 << 20);
        await tom.SendAsync(HttpMethod.Delete, $"/api/v1/uploads/{upload}");
        service.Bring(files);
        await service.Until(() => service.Sources.List(1) is [{ Files: 4 } only] ? only : null, "no source after there is room");
        await service.Until(() => tom.SendAsync(HttpMethod.Get, "/health/ready").Result.StatusCode == HttpStatusCode.OK ? "ready" : null, "not ready again");
    }

    [Fact]
    [Trait("Kind", "Slow")]
    public async Task A_database_that_does_not_answer_is_named_and_work_goes_on_when_it_does()
    {
        await using var service = await RunningService.StartAsync(Data, new { storage = new { leastFreeMegabytes = 0 } });
        using var tom = await ServiceClient.AsAsync(service, Roles.Technician);
        using (var other = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={Path.Combine(Data, "service.db")};Pooling=False"))
        {
            other.Open();
            using var hold = other.CreateCommand();
            hold.CommandText = "BEGIN EXCLUSIVE";
            hold.ExecuteNonQuery();
            using var made = await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "INVENTED-1" });
            made.StatusCode.Should().Be(HttpStatusCode.ServiceUnavailable);
            (await made.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("title").GetString().Should().Be("The database does not answer");
        }

        using var again = await tom.SendAsync(HttpMethod.Post, "/api/v1/jobs/", new { purpose = "education", anatomy = "skull", plan = "bone", patientId = "INVENTED-1" });
        again.StatusCode.Should().Be(HttpStatusCode.Created);
        service.Jobs.List(10).Should().ContainSingle("what was refused did not happen");
    }

    [Fact]
    public async Task A_receiver_whose_port_is_taken_is_seen_and_listens_once_it_is_free()
    {
        using var taken = new TcpListener(IPAddress.Loopback, 0);
        taken.Start();
        var port = ((IPEndPoint)taken.LocalEndpoint).Port;
        Directory.CreateDirectory(Data);
        var starting = RunningService.StartAsync(Data, new { receiver = new { enabled = true, port, callingTitles = new[] { "CT1" } } });
        // It serves the rest meanwhile; the start of this test waits for the receiver.
        await Task.Delay(2000);
        starting.IsCompleted.Should().BeFalse();
        taken.Stop();
        await using var service = await starting;
        service.ReceiverPort.Should().Be(port);
        service.Events.After(0, 100).Should().Contain(e => e.Event.Kind == "receiver.failed" && e.Event.Detail!.Contains("AddressAlreadyInUse", StringComparison.Ordinal));
        using var nobody = new ServiceClient(service.Address);
        await service.Until(() => nobody.SendAsync(HttpMethod.Get, "/health/ready").Result.StatusCode == HttpStatusCode.OK ? "ready" : null, "not ready");
    }

    [Fact]
    public async Task Two_requests_for_one_source_are_two_jobs_and_the_same_study_twice_is_one_source()
    {
        var files = Phantom.Write(Phantom.Ball(slices: 4), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.3 }, storage = new { leastFreeMegabytes = int.MaxValue } });
        using var cora = await ServiceClient.AsAsync(service, Roles.Coordinator);
        service.Bring(files);
        var source = await service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source");
        service.Bring(files);
        await service.Settled();
        service.Sources.List(10).Should().ContainSingle();
        var ids = new HashSet<string>();
        for (var k = 0; k < 2; k++)
        {
            using var made = await cora.SendAsync(HttpMethod.Post, "/api/v1/requests/", new { purpose = "education", anatomy = "ball", plan = "bone", sourceId = source.Id });
            ids.Add((await made.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("id").GetString()!);
        }

        ids.Should().HaveCount(2);
        service.Requests.List(10).Select(r => r.JobId).Should().OnlyHaveUniqueItems().And.NotContainNulls();
        service.Jobs.List(10).Should().HaveCount(2).And.OnlyContain(j => j.Request.SourceId == source.Id && j.State == JobState.Queued);
    }

    [Fact]
    public async Task A_file_that_still_grows_is_not_taken_and_half_a_file_is_refused_with_its_finding()
    {
        var watched = Directory.CreateDirectory(_folder["watched"]).FullName;
        var files = Phantom.Write(Phantom.Ball(slices: 3), _folder["ct"]);
        await using var service = await RunningService.StartAsync(Data, new { intake = new { quietSeconds = 0.3, settleSeconds = 1.0, watchedFolder = watched } });
        var delivery = Directory.CreateDirectory(Path.Combine(watched, "one")).FullName;
        File.Copy(files[0], Path.Combine(delivery, "0.dcm"));
        var whole = await File.ReadAllBytesAsync(files[1]);
        await using (var growing = File.Create(Path.Combine(delivery, "1.dcm")))
            for (var k = 0; k < 5; k++)
            {
                await growing.WriteAsync(whole.AsMemory(k * whole.Length / 5, ((k + 1) * whole.Length / 5) - (k * whole.Length / 5)));
                await growing.FlushAsync();
                await Task.Delay(400);
            }

        // Its sender died here: half of the last one, for ever.
        await File.WriteAllBytesAsync(Path.Combine(delivery, "2.dcm"), (await File.ReadAllBytesAsync(files[2]))[..2000]);
        var source = await service.Until(() => service.Sources.List(1) is [var only] ? only : null, "no source");
        source.Files.Should().Be(2, "what is whole is kept");
        service.Events.After(0, 100).Count(e => e.Event.Kind == "arrival.refused").Should().Be(1, "and what is not is told of");
    }

    private static async Task<string> Begin(ServiceClient client)
    {
        using var begun = await client.SendAsync(HttpMethod.Post, "/api/v1/uploads/");
        begun.StatusCode.Should().Be(HttpStatusCode.Created);
        return (await begun.Content.ReadFromJsonAsync<JsonElement>()).GetProperty("id").GetString()!;
    }

    /// <summary>A file system of a few megabytes in memory (mount(8), as root), that can be filled.</summary>
    private sealed class SmallDisk : IDisposable
    {
        private readonly string _place;

        public SmallDisk(string place, int megabytes)
        {
            _place = Directory.CreateDirectory(place).FullName;
            Run("mount", "-t", "tmpfs", "-o", $"size={megabytes}m", "tmpfs", _place);
        }

        private string Ballast => Path.Combine(_place, "ballast");

        public void Fill(int leaveMegabytes)
        {
            using var file = File.Create(Ballast);
            file.Write(new byte[Math.Max(0, new DriveInfo(_place).AvailableFreeSpace - ((long)leaveMegabytes << 20))]);
        }

        public void Free() => File.Delete(Ballast);

        // Lazily: something may still be open.
        public void Dispose() => Run("umount", "-l", _place);

        private static void Run(string program, params string[] arguments)
        {
            using var process = Process.Start(program, arguments);
            process.WaitForExit();
            process.ExitCode.Should().Be(0, "{0} needs root", program);
        }
    }
}
