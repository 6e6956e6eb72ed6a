namespace AnatomyPrep.App.Pipeline;

/// <summary>What a run needs besides its input; the command line and the service share it.</summary>
internal sealed class Workbench(AppFolders folders, StepCatalog catalog, TimeProvider clock)
{
    public AppFolders Folders { get; } = folders;

    public StepCatalog Catalog { get; } = catalog;

    public TimeProvider Clock { get; } = clock;

    public PlanLibrary Plans { get; } = new(catalog);
}
