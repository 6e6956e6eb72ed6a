namespace AnatomyPrep.Service.Hosting;

/// <summary>Tells when the disk of the data folder is too full to begin anything.</summary>
internal sealed class DiskGuard(DataFolder folder, ServiceSettings settings)
{
    public bool IsFull => new DriveInfo(folder.Root).AvailableFreeSpace < (long)settings.Storage.LeastFreeMegabytes << 20;
}
