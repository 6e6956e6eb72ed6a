using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Volumes;

namespace AnatomyPrep.App.Pipeline;

/// <summary>What has been made so far. The runner owns it; a step replaces a value and the old one is disposed.</summary>
internal sealed class PipelineState : IDisposable
{
    private Volume? _volume;
    private Region? _region;

    /// <summary>The images as read; kept for pictures and measurements even when steps work on a changed copy.</summary>
    public Volume? SourceVolume { get; private init; }

    public Mesh? Mesh { get; set; }

    /// <summary>Lower level of the region that the surface was made from; null before there is one.</summary>
    public short? LevelHu => _region?.Window.LowerHu;

    public static PipelineState FromVolume(Volume source) => new() { SourceVolume = source, _volume = source };

    public static PipelineState FromMesh(Mesh mesh) => new() { Mesh = mesh };

    public Volume Volume(string step) => _volume ?? throw Missing(step, "images", "Use a plan for surface scans, or give a CT series.");

    public Region Region(string step) => _region ?? throw Missing(step, "a region", "Put a threshold step before it.");

    public Mesh Surface(string step) => Mesh ?? throw Missing(step, "a surface", "Put a surface step before it.");

    public void Replace(Volume volume)
    {
        if (_volume is not null && !ReferenceEquals(_volume, SourceVolume))
            _volume.Dispose();
        _volume = volume;
    }

    public void Replace(Region region)
    {
        _region?.Dispose();
        _region = region;
    }

    public void Dispose()
    {
        _region?.Dispose();
        if (!ReferenceEquals(_volume, SourceVolume))
            _volume?.Dispose();
        SourceVolume?.Dispose();
    }

    private static PlanException Missing(string step, string what, string remedy) => new("plan", null, step, $"needs {what} and there is none", remedy.TrimEnd('.'));
}
