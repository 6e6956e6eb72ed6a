using System.Globalization;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Jobs;

/// <summary>A file of a finished job.</summary>
/// <param name="Name">Place in the result's folder, with slashes.</param>
/// <param name="Kind">model, picture, section, report, record, run, or other.</param>
public sealed record Artifact(string Name, string Kind, string ContentType, long Bytes, string Url);

/// <summary>The files of finished jobs.</summary>
internal static class Artifacts
{
    /// <summary>Files of the published attempt, in the order of their names; none before.</summary>
    public static IReadOnlyList<Artifact> Of(JobEntry job, DataFolder folder)
    {
        if (job.Published is null || FolderOf(job, folder) is var root && !Directory.Exists(root))
            return [];
        return [.. new DirectoryInfo(root).EnumerateFiles("*", SearchOption.AllDirectories)
            .Select(f => (Name: Path.GetRelativePath(root, f.FullName).Replace(Path.DirectorySeparatorChar, '/'), f.Length))
            .OrderBy(f => f.Name, StringComparer.Ordinal)
            .Select(f => new Artifact(f.Name, KindOf(f.Name), TypeOf(f.Name), f.Length, $"/api/v1/jobs/{job.Id}/files/{f.Name}"))];
    }

    /// <summary>Where the published result of a job lies.</summary>
    public static string FolderOf(JobEntry job, DataFolder folder) =>
        Path.Combine(folder.Job(job.Id), job.Published!.Value.ToString(CultureInfo.InvariantCulture), JobRunner.ModelFolder);

    private static string KindOf(string name) => name switch
    {
        "record.json" => "record",
        "run.json" => "run",
        "report.pdf" => "report",
        "preview.png" => "picture",
        _ when name.StartsWith("sections/", StringComparison.Ordinal) => "section",
        _ when Path.GetExtension(name) is ".png" => "picture",
        _ when Path.GetExtension(name) is ".stl" or ".ply" or ".3mf" or ".glb" => "model",
        _ => "other",
    };

    private static string TypeOf(string name) => Path.GetExtension(name) switch
    {
        ".png" => "image/png",
        ".pdf" => "application/pdf",
        ".json" => "application/json",
        ".glb" => "model/gltf-binary",
        ".3mf" => "model/3mf",
        ".stl" => "model/stl",
        _ => "application/octet-stream",
    };
}
