using System.CommandLine;
using System.Runtime.InteropServices;
using System.Text.Json;
using AnatomyPrep.App.Pipeline;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Formats;
using AnatomyPrep.Meshing.Prepare;
using AnatomyPrep.Meshing.Spatial;
using AnatomyPrep.Meshing.Verify;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.App.Cli;

/// <summary>probe DIR --of WHAT --out FILE: one number for every vertex of a finished model's model.glb, for viewers; or its open rims as JSON.</summary>
/// <remarks>
/// float32, little-endian, in the order of the vertices of the file, solid after solid; nan where nothing is measured.
/// wall and gap: diameter of the largest sphere that touches the vertex from inside or outside (<see cref="ThicknessMap"/>), infinity beyond the reach.
/// sensitivity: how far the surface moves for 50 HU more or less (<see cref="Sensitivity"/>). deviation: signed distance to the source's
/// surface before anything was repaired or shaped. other: signed distance to another model of the same source, both where the images are.
/// </remarks>
internal static class ProbeCommand
{
    private const double ReachMm = 10;

    private static readonly string[] s_kinds = ["wall", "gap", "sensitivity", "deviation", "other", "holes"];

    public static Command Create(CommandContext context)
    {
        var folder = new Argument<string>("DIR") { Description = "Folder of a finished run" };
        var of = new Option<string>("--of") { Description = string.Join(", ", s_kinds), Required = true };
        var source = new Option<string?>("--source") { Description = "Images it was made from: for sensitivity and deviation" };
        var other = new Option<string?>("--other") { Description = "Folder of another run of the same source: for other" };
        var output = new Option<string>("--out") { Description = "New file", Required = true };
        var command = new Command("probe", "Write one measured number for every vertex of a finished model, for viewers") { folder, of, source, other, output };
        of.AcceptOnlyFromAmong(s_kinds);
        command.SetAction((parsed, cancellation) =>
        {
            var (what, place) = (parsed.GetValue(of)!, Path.GetFullPath(parsed.GetValue(output)!));
            context.Run(run =>
            {
                var probe = new Probe(context, parsed.GetValue(folder)!, parsed.GetValue(source), parsed.GetValue(other), run);
                var aside = $"{place}.part";
                File.WriteAllBytes(aside, what == "holes" ? JsonSerializer.SerializeToUtf8Bytes(probe.Solids().SelectMany(s => HoleFacts.Of(s.Mesh, run)).ToArray(), Output.Json) : probe.Values(what));
                File.Move(aside, place, overwrite: true);
                return place;
            }, cancellation);
            return Task.FromResult(ExitCodes.Done);
        });
        return command;
    }

    private sealed class Probe(CommandContext context, string folder, string? source, string? other, RunContext run)
    {
        private readonly RunFacts _facts = FactsOf(folder);

        /// <summary>In the order of model.glb.</summary>
        public IEnumerable<ThreeMfSolid> Solids() => SolidsOf(folder, _facts);

        public byte[] Values(string what)
        {
            using var all = new MemoryStream();
            foreach (var solid in Solids())
            {
                var values = what switch
                {
                    "wall" or "gap" => Thickness(solid.Mesh, what == "wall" ? ThicknessSide.Wall : ThicknessSide.Gap),
                    "sensitivity" => Shifts(solid.Mesh),
                    "deviation" => ToSource(solid.Mesh),
                    _ => ToOther(solid.Mesh),
                };
                // A vertex of the mesh may stand several times in the file, once for each origin that meets there.
                var inFile = GltfFormat.VerticesOf(solid, run).Select(v => values[v]).ToArray();
                all.Write(MemoryMarshal.AsBytes(inFile.AsSpan()));
            }

            return all.ToArray();
        }

        private float[] Thickness(Mesh mesh, ThicknessSide side) => ThicknessMap.Measure(mesh, TriangleTree.Build(mesh, run), side, ReachMm, run).SphereMm;

        private float[] Shifts(Mesh mesh)
        {
            using var loaded = new SourceLoader(context.Bench.Folders).Load(new(Required(source, "--source"), null), run);
            var volume = loaded.State.SourceVolume ?? throw new BadInputException("source", "volume", "no images, only a surface or points", "There are no grey values to follow.");
            return Sensitivity.Measure(KnownPlacement.Undo(mesh, PlacementOf(_facts), run), volume, new(), run).LargestMm();
        }

        private float[] ToSource(Mesh mesh)
        {
            if (_facts.Structures is { Count: > 0 })
                throw new BadInputException("probe", "--of", "deviation of a model with structures", "Colour it by the distance to another model.");
            var statement = RecordVerifier.Verify(folder, null, null, run).Require();
            return Array.ConvertAll(new SourceCheck(context.Bench).Distances(statement, Required(source, "--source"), mesh, run), d => (float)d);
        }

        private float[] ToOther(Mesh mesh)
        {
            var (place, facts) = (Required(other, "--other"), FactsOf(Required(other, "--other")));
            var joined = MeshJoin.Join([.. SolidsOf(place, facts).Select(s => s.Mesh)]);
            var distances = SignedDistance.To(KnownPlacement.Undo(joined, PlacementOf(facts), run), run).OfVertices(KnownPlacement.Undo(mesh, PlacementOf(_facts), run), run);
            return Array.ConvertAll(distances, d => (float)d);
        }

        private IEnumerable<ThreeMfSolid> SolidsOf(string place, RunFacts facts) => facts.Structures is { Count: > 0 } structures
            ? structures.Select(s => new ThreeMfSolid(Read(Path.Combine(place, s.Files.First(f => f.EndsWith(".ply", StringComparison.Ordinal) && !f.Contains("-sensitivity", StringComparison.Ordinal)))), s.Name, Rgb.TryParse(s.Colour, out var colour) ? colour : default))
            : [new ThreeMfSolid(Read(Path.Combine(place, ModelFiles.Ply)), facts.Request.Anatomy, null)];

        private Mesh Read(string path) => MeshFile.Read(path, CheckCommand.ReadOptions, run).Mesh;

        private static Affine3 PlacementOf(RunFacts facts) =>
            facts.Measurements.Deviation?.ModelFromPatient is [var x, var y, var z, var moved] ? new(x, y, z, moved) : Affine3.Identity;

        private static RunFacts FactsOf(string place) => JsonSerializer.Deserialize<RunFacts>(File.ReadAllBytes(Path.Combine(place, RecordFiles.Run)), RecordJson.Options) ?? throw new BadInputException("probe", "run", "empty", "Give the folder of a finished run.");

        private static string Required(string? value, string option) => value ?? throw new PlanException("command", null, option, "missing", "a folder");
    }
}
