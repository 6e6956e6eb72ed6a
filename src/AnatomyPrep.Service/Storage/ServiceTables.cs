using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using AnatomyPrep.Service.Intake;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Remarks;
using AnatomyPrep.Service.Requests;

namespace AnatomyPrep.Service.Storage;

/// <summary>All tables of the service, made or brought up to this version.</summary>
internal static class ServiceTables
{
    /// <summary>Opens the database that the settings name.</summary>
    public static Database Open(DataFolder folder, StorageSettings settings) => Upgrade(settings.Database is { } server
        ? Database.Shared(server, Schemas)
        : new Database(folder.Database, Schemas));

    private static string[] Schemas =>
        [EventLog.Schema, SourceStore.Schema, QuarantineStore.Schema, JobStore.Schema, AccountStore.Schema, WatchedFolder.Schema, UploadStore.Schema, RequestStore.Schema, RemarkStore.Schema, Messages.MessageOutbox.Schema, Ledgers.ServiceLedger.Schema];

    private static Database Upgrade(Database database)
    {
        database.KeepRows("event");
        database.AddColumns("source", [.. SourceStore.Added]);
        database.AddColumns("job", [.. JobStore.Added]);
        database.AddColumns("account", [.. AccountStore.Added]);
        return database;
    }
}
