using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Nodes;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Sampling;
using AnatomyPrep.Phantoms.Scenes;

namespace AnatomyPrep.Phantoms.Series;

/// <summary>The truth of a phantom beside its pictures, as JSON: names in ordinal order, numbers at full precision.</summary>
public static class Sidecar
{
    private static readonly JsonWriterOptions s_writing = new() { Indented = true, NewLine = "\n", Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    public static string Of(PhantomSeries series, RunContext run)
    {
        var root = new JsonObject
        {
            ["name"] = series.Scene.Name,
            ["purpose"] = series.Scene.Purpose,
            ["coordinates"] = "LPS, millimetres",
            ["geometry"] = Geometry(series),
            ["values"] = Values(series),
            ["layers"] = new JsonArray([.. series.Scene.Layers.Select(Nominal)]),
            ["landmarks"] = new JsonArray([.. series.Scene.Landmarks.Select(mark => new JsonObject { ["name"] = mark.Name, ["positionMm"] = Point(mark.PositionMm) })]),
            ["truth"] = new JsonArray([.. series.Scene.TruthLevelsHu.Select(level => Truth(SceneTruth.At(series.Scene, level, run)))]),
        };
        using var bytes = new MemoryStream();
        using (var writer = new Utf8JsonWriter(bytes, s_writing))
            Write(writer, root);
        return Encoding.UTF8.GetString(bytes.ToArray()) + "\n";
    }

    private static JsonObject Geometry(PhantomSeries series)
    {
        var acquisition = series.Acquisition;
        var placed = new SliceGeometry(acquisition);
        return new JsonObject
        {
            ["columns"] = acquisition.Columns,
            ["rows"] = acquisition.Rows,
            ["slices"] = series.Slices,
            ["columnSpacingMm"] = placed.ColumnSpacingMm,
            ["rowSpacingMm"] = placed.RowSpacingMm,
            ["sliceThicknessMm"] = acquisition.SliceThicknessMm,
            ["gantryTiltDeg"] = acquisition.GantryTiltDeg,
            ["alongRow"] = Point(placed.AlongRow),
            ["alongColumn"] = Point(placed.AlongColumn),
            ["firstPositionMm"] = Point(placed.PositionsMm[0]),
            ["lastPositionMm"] = Point(placed.PositionsMm[^1]),
        };
    }

    private static JsonObject Values(PhantomSeries series) => new()
    {
        ["seed"] = series.Acquisition.Seed.ToString(System.Globalization.CultureInfo.InvariantCulture),
        ["noiseSigmaHu"] = series.Acquisition.NoiseSigmaHu,
        ["subsamplesPerAxis"] = series.Acquisition.SubsamplesPerAxis,
        ["backgroundHu"] = series.Scene.BackgroundHu,
        ["rampHalfWidthMm"] = series.Scene.RampHalfWidthMm,
        ["bitsStored"] = series.Stored.BitsStored,
        ["signed"] = series.Stored.Signed,
    };

    private static JsonObject Nominal(Layer layer)
    {
        var node = new JsonObject { ["name"] = layer.Name, ["insideHu"] = layer.InsideHu, ["outsideHu"] = layer.OutsideHu };
        if (layer.Solid.ClosedForm(0) is { } known)
        {
            node["nominalVolumeMm3"] = known.VolumeMm3;
            node["nominalAreaMm2"] = known.AreaMm2;
        }

        return node;
    }

    private static JsonObject Truth(SceneTruth truth) => new()
    {
        ["levelHu"] = truth.LevelHu,
        ["surfaces"] = new JsonArray([.. truth.Surfaces.Select(Surface)]),
        ["volumeMm3"] = truth.VolumeMm3,
        ["areaMm2"] = truth.AreaMm2,
        ["euler"] = truth.Euler,
        ["bodies"] = truth.Bodies,
    };

    private static JsonObject Surface(SurfaceTruth surface) => new()
    {
        ["layer"] = surface.Layer,
        ["offsetMm"] = surface.OffsetMm,
        ["solidSide"] = surface.SolidSide,
        ["volumeMm3"] = surface.VolumeMm3,
        ["uncertaintyMm3"] = surface.UncertaintyMm3,
        ["areaMm2"] = surface.AreaMm2,
        ["euler"] = surface.Euler,
        ["bodies"] = surface.Bodies,
    };

    private static JsonArray Point(Vec3 p) => [p.X, p.Y, p.Z];

    private static void Write(Utf8JsonWriter writer, JsonNode? node)
    {
        switch (node)
        {
            case JsonObject o:
                writer.WriteStartObject();
                foreach (var (name, value) in o.OrderBy(p => p.Key, StringComparer.Ordinal))
                {
                    writer.WritePropertyName(name);
                    Write(writer, value);
                }

                writer.WriteEndObject();
                break;
            case JsonArray a:
                writer.WriteStartArray();
                foreach (var item in a)
                    Write(writer, item);
                writer.WriteEndArray();
                break;
            case null:
                writer.WriteNullValue();
                break;
            default:
                node.WriteTo(writer);
                break;
        }
    }
}
