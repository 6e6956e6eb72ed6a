using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Tests.Service.Hosting;

/// <summary>Wrong settings are named; nothing is guessed, and nothing is open unless it was opened.</summary>
public sealed class ServiceSettingsTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Theory]
    [InlineData("""{ "receiver": { "enabled": true } }""", "receiver.callingTitles")]
    [InlineData("""{ "receiver": { "enabled": true, "callingTitles": ["$(x)"] } }""", "receiver.callingTitles")]
    [InlineData("""{ "receiver": { "address": "localhost" } }""", "receiver.address")]
    [InlineData("""{ "receiver": { "port": 70000 } }""", "receiver.port")]
    [InlineData("""{ "receiver": { "title": "a title that is too long" } }""", "receiver.title")]
    [InlineData("""{ "receiver": { "peers": ["somewhere"] } }""", "receiver.peers")]
    [InlineData("""{ "receiver": { "tlsKey": "/none" } }""", "receiver.tls")]
    [InlineData("""{ "intake": { "quietSeconds": 0 } }""", "intake.quietSeconds")]
    [InlineData("""{ "intake": { "watchedFolder": "/none" } }""", "intake.watchedFolder")]
    [InlineData("""{ "jobs": { "workers": 0 } }""", "jobs.workers")]
    [InlineData("""{ "jobs": { "workers": 64, "memoryMegabytes": 2000000 } }""", "jobs.workers")]
    [InlineData("""{ "storage": { "database": "Host=db;Database=one", "sharedFolder": "/tmp" }, "ledger": { "postgres": "Host=db;Port=5432;Database=one;Username=other" } }""", "ledger.postgres")]
    [InlineData("""{ "page": { "tlsKey": "/none" } }""", "page.tls")]
    [InlineData("""{ "messages": { "webhooks": [{ "name": "a", "url": "http://10.0.0.1/", "secretFile": "/none" }] } }""", "messages.webhooks.url")]
    [InlineData("""{ "messages": { "webhooks": [{ "name": "a", "url": "https://user@example.org/", "secretFile": "/none" }] } }""", "messages.webhooks.url")]
    [InlineData("""{ "messages": { "webhooks": [{ "name": "a", "url": "https://example.org/", "secretFile": "/none" }] } }""", "messages.webhooks.secretFile")]
    [InlineData("""{ "messages": { "webhooks": [{ "name": "a", "url": "https://example.org/", "secretFile": "/none", "kinds": ["account."] }] } }""", "messages.webhooks.kinds")]
    [InlineData("""{ "messages": { "mail": { "host": "mail.example.org", "from": "a@example.org", "to": ["b@example.org"], "security": "none" } } }""", "messages.mail.security")]
    [InlineData("""{ "messages": { "mail": { "host": "mail.example.org", "from": "a@example.org", "to": ["b@example.org\r\nBcc: c@example.org"] } } }""", "messages.mail.to")]
    [InlineData("""{ "messages": { "pageUrl": "javascript:alert(1)" } }""", "messages.pageUrl")]
    [InlineData("""{ "telemetry": { "otlpEndpoint": "file:///etc" } }""", "telemetry.otlpEndpoint")]
    [InlineData("""{ "telemetry": { "prometheusNetworks": ["all"] } }""", "telemetry.prometheusNetworks")]
    [InlineData("""{ "archives": [{ "name": "main", "url": "http://10.0.0.1/dicom-web" }] }""", "archives.url")]
    [InlineData("""{ "archives": [{ "name": "../x", "url": "https://pacs.example.org/dicom-web" }] }""", "archives.name")]
    [InlineData("""{ "retention": { "sourceDays": 0 } }""", "retention.sourceDays")]
    [InlineData("""{ "reciever": {} }""", "reciever")]
    [InlineData("""{ "receiver": { "port": "x" } }""", "receiver.port")]
    [InlineData("""{ """, "line")]
    public void A_wrong_setting_is_named(string text, string named)
    {
        File.WriteAllText(_folder["settings.json"], text);
        FluentActions.Invoking(() => ServiceSettings.Read(_folder["settings.json"])).Should().Throw<PlanException>().WithMessage($"*{named}*");
    }

    [Fact]
    public void Without_a_file_the_receiver_is_off_and_on_loopback()
    {
        var settings = ServiceSettings.Read(_folder["settings.json"]);
        settings.Receiver.Enabled.Should().BeFalse();
        settings.Receiver.Address.Should().Be("127.0.0.1");
        settings.Intake.WatchedFolder.Should().BeNull();
    }

    [Fact]
    public void A_data_folder_is_used_by_one_service_at_a_time_and_open_to_its_owner_only()
    {
        using (new DataFolder(_folder["data"]))
            FluentActions.Invoking(() => new DataFolder(_folder["data"])).Should().Throw<BadInputException>().WithMessage("*another service*");
        using var again = new DataFolder(_folder["data"]);
        again.Place(null);
        if (!OperatingSystem.IsWindows())
            File.GetUnixFileMode(again.Sources).Should().Be(UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute);
    }
}
