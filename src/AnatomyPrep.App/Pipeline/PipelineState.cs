using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Core.Volumes;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Verify;

namespace AnatomyPrep.App.Pipeline;

/// <summary>What has been made so far. The runner owns it; a step replaces a value and the old one is disposed.</summary>
internal sealed class PipelineState : IDisposable
{
    private Volume? _volume;
    private Region? _region;
    private PointCloud? _cloud;
    private Region? _uncertain;

    // Of the state this one was branched from, which disposes of it.
    private Volume? _borrowed;
    private bool _isBranch;

    /// <summary>The images as read; kept for pictures and measurements even when steps work on a changed copy.</summary>
    public Volume? SourceVolume { get; private init; }

    public Mesh? Mesh { get; set; }

    /// <summary>Further meshes by the name the plan knows them by.</summary>
    public IReadOnlyDictionary<string, Mesh> Parts { get; init; } = new SortedDictionary<string, Mesh>(StringComparer.Ordinal);

    /// <summary>Lower level of the region that the surface was made from; null before there is one.</summary>
    public short? LevelHu => _region?.Window.LowerHu;

    /// <summary>Where HU cannot be believed; null where no step said so.</summary>
    public Region? Uncertain => _uncertain;

    /// <summary>What the images gave before repair, shaping and placing; null before there is a surface, and for sources that are surfaces.</summary>
    public Mesh? SourceSurface { get; private set; }

    /// <summary>Where the steps put the model, from where the images are; null when no one map does it.</summary>
    public Affine3? Placement { get; private set; } = Affine3.Identity;

    /// <summary>The model where the images are, as it was before its parts were moved differently; null where <see cref="Placement"/> is known.</summary>
    public Mesh? BeforeParting { get; private set; }

    /// <summary>Whether left, front and top of the model are still the patient's: no step turned or mirrored it.</summary>
    public bool KeepsPatientAxes => Placement is { } map && OwnAxis(map.X, map.X.X) && OwnAxis(map.Y, map.Y.Y) && OwnAxis(map.Z, map.Z.Z);

    /// <summary>Process profile of the plan; null where it names none.</summary>
    public PrintProfile? Profile { get; set; }

    /// <summary>The last search for an orientation; null before there was one.</summary>
    public LaidModel? Laid { get; set; }

    /// <summary>What the last check for printing found; null before there was one.</summary>
    public CheckedPrint? Print { get; set; }

    /// <summary>How far the surface would move, for the surface it was measured on; null before a step measured it.</summary>
    public SurfaceShifts? Shifts { get; set; }

    public static PipelineState FromVolume(Volume source) => new() { SourceVolume = source, _volume = source };

    public static PipelineState FromMesh(Mesh mesh) => new() { Mesh = mesh };

    public static PipelineState FromCloud(PointCloud cloud) => new() { _cloud = cloud };

    /// <summary>The same with further meshes; takes everything over.</summary>
    public PipelineState With(IReadOnlyDictionary<string, Mesh> parts) => new() { SourceVolume = SourceVolume, _volume = _volume, _region = _region, _cloud = _cloud, Mesh = Mesh, Parts = parts };

    /// <summary>The same to go on from, for one of several structures: it may change everything, this one stays. Dispose of it before this one.</summary>
    public PipelineState Branch() => new()
    {
        SourceVolume = SourceVolume,
        _volume = _volume,
        _borrowed = _volume,
        _region = _region?.Copy(),
        _uncertain = _uncertain?.Copy(),
        _cloud = _cloud,
        Mesh = Mesh,
        Parts = Parts,
        Profile = Profile,
        Shifts = Shifts,
        SourceSurface = SourceSurface,
        Placement = Placement,
        BeforeParting = BeforeParting,
        _isBranch = true,
    };

    /// <summary>Takes down, after each step, the first surface and where the model was put.</summary>
    /// <param name="before">The surface before the step.</param>
    /// <param name="moves">Whether the step is one that places the model.</param>
    public void Follow(Mesh? before, bool moves, RunContext run)
    {
        if (SourceVolume is not null)
            SourceSurface ??= Mesh;
        if (!moves || before is null || Mesh is null || Placement is not { } so)
            return;
        Placement = KnownPlacement.Between(before, Mesh)?.After(so);
        if (Placement is null)
            BeforeParting = KnownPlacement.Undo(before, so, run);
    }

    // Rounding of positions turns an axis by far less; the least turn that a plan can ask for by intent, by far more.
    private static bool OwnAxis(Vec3 image, double along) => along > 0 && (image.Length - along) <= 1e-8 * along;

    public Volume Volume(string step) => _volume ?? throw Missing(step, "images", "Use a plan for surface scans, or give a CT series.");

    public Region Region(string step)
    {
        var region = _region ?? throw Missing(step, "a region", "Put a threshold step before it.");
        return _volume is null || (region.Columns, region.Rows, region.Slices) == (_volume.Columns, _volume.Rows, _volume.Slices)
            ? region
            : throw new PlanException("plan", null, step, "the images were cropped after the region was made", "crop before the first threshold");
    }

    public PointCloud Cloud(string step) => _cloud ?? throw Missing(step, "measured points", "Give a point cloud, or a plan for surface scans.");

    public Mesh Part(string name, string step) => Parts.TryGetValue(name, out var part)
        ? part
        : throw new PlanException("plan", null, step, $"needs a part named {name} and there is none", Parts.Count == 0 ? $"parts given with --part {name}=FILE" : string.Join(", ", Parts.Keys));

    public Mesh Surface(string step) => Mesh ?? throw Missing(step, "a surface", "Put a step that makes a surface before it.");

    public void Replace(Volume volume)
    {
        if (IsOwn(_volume))
            _volume!.Dispose();
        _volume = volume;
    }

    public void Replace(PointCloud cloud) => _cloud = cloud;

    public void Replace(Region region)
    {
        _region?.Dispose();
        _region = region;
    }

    public void MarkUncertain(Region? zone)
    {
        _uncertain?.Dispose();
        _uncertain = zone;
    }

    public void Dispose()
    {
        _region?.Dispose();
        _uncertain?.Dispose();
        if (IsOwn(_volume))
            _volume!.Dispose();
        if (!_isBranch)
            SourceVolume?.Dispose();
    }

    private bool IsOwn(Volume? volume) => volume is not null && !ReferenceEquals(volume, SourceVolume) && !ReferenceEquals(volume, _borrowed);

    private static PlanException Missing(string step, string what, string remedy) => new("plan", null, step, $"needs {what} and there is none", remedy.TrimEnd('.'));
}

/// <summary>A surface and how far each of its vertices would move, in mm; NaN where nothing was measured.</summary>
internal sealed record SurfaceShifts(Mesh Mesh, float[] LargestMm, double StepHu);
