using System.IO.Compression;
using System.Text;
using System.Text.Json;
using AnatomyPrep.Core.Dicom;
using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Phantoms.Catalogue;
using AnatomyPrep.Phantoms.Dicom;
using AnatomyPrep.Phantoms.Series;
using AnatomyPrep.Tests.Phantoms;

namespace AnatomyPrep.Tests.App;

/// <summary>
/// A phantom full of invented identifiers through the real program: none of them is found in anything that stays, and the
/// right-patient check lets only the right one through.
/// </summary>
public sealed class IdentityJobTests : IDisposable
{
    private static readonly Identity s_identity = Identity.FullOfTelltales(7);

    private readonly TestFolder _folder = new();

    private string Home => _folder["home"];

    public void Dispose() => _folder.Dispose();

    [Fact]
    public void No_identifier_reaches_logs_records_names_or_pictures()
    {
        var images = Write();
        var inspected = TestProgram.Run(Home, "inspect", images);
        var listed = TestProgram.Run(Home, "inspect", images, "--json");
        var prepared = TestProgram.Run(Home, "prepare", images, "--plan", "bone", "--out", _folder["result"], "--patient-id", s_identity.PatientId);
        prepared.ExitCode.Should().Be(0, prepared.Errors);
        TestProgram.Run(Home, "replay", _folder["result"]).ExitCode.Should().Be(0);
        TestProgram.Run(Home, "verify", _folder["result"]).ExitCode.Should().Be(0);

        // Names of files are shown to whoever has the files; all else must be free of them too.
        var said = Encoding.UTF8.GetBytes(inspected.Output + inspected.Errors + listed.Output + listed.Errors);
        Found([("console", said)]).Should().OnlyContain(f => f == $"console: {s_fileWord}");
        Found([("prepare", Encoding.UTF8.GetBytes(prepared.Output + prepared.Errors))]).Should().BeEmpty();
        var kept = Kept().ToArray();
        kept.Select(k => k.Name).Should().Contain(n => n.EndsWith(".log")).And.Contain(n => n.EndsWith("report.pdf, as text")).And.Contain(n => n.Contains("model.3mf/"));
        Found(kept).Should().BeEmpty();
        // The findings say something of a file, so the test would see a name.
        File.ReadAllText(Path.Combine(_folder["result"], "run.json")).Should().Contain("File 3: ");
        using var run = JsonDocument.Parse(File.ReadAllText(Path.Combine(_folder["result"], "run.json")));
        var patient = run.RootElement.GetProperty("source").GetProperty("pseudonyms").GetProperty("patient").GetString();
        patient.Should().MatchRegex("^[0-9a-f]{64}$");
        run.RootElement.GetProperty("request").GetProperty("patientPseudonym").GetString().Should().Be(patient);
    }

    [Fact]
    public void Another_patient_stops_with_1_and_nothing_is_written()
    {
        var images = Write();
        foreach (var asked in (string[])["INVENTED-0002", s_identity.PatientId[..^1], ""])
        {
            var run = TestProgram.Run(Home, "prepare", images, "--plan", "bone", "--out", _folder["result"], "--patient-id", asked);
            run.ExitCode.Should().Be(1, run.Errors);
            run.Errors.Should().Contain("images of another patient").And.NotContain(s_identity.PatientId);
            Directory.Exists(_folder["result"]).Should().BeFalse();
        }

        File.WriteAllText(_folder["points.xyz"], "0 0 0\n10 0 0\n0 10 0\n");
        TestProgram.Run(Home, "prepare", _folder["points.xyz"], "--plan", "bone", "--out", _folder["result"], "--patient-id", "x").Should().Match<(int ExitCode, string Output, string Errors)>(r => r.ExitCode == 1 && r.Errors.Contains("does not say whose it is"));
    }

    /// <summary>dciodvfy (dicom3tools) finds no error; what dcm2json (DCMTK) takes out is model.stl, byte for byte. Identifiers are where they were asked for and nowhere else.</summary>
    [Theory]
    [Trait("Kind", "Outside")]
    [InlineData(false)]
    [InlineData(true)]
    public void The_model_goes_back_to_the_archive_with_identifiers_only_when_asked(bool identify)
    {
        var images = Write();
        string[] command = ["prepare", images, "--plan", "bone", "--out", _folder["result"]];
        var prepared = TestProgram.Run(Home, identify ? [.. command, "--identify"] : command);
        prepared.ExitCode.Should().Be(0, prepared.Errors);
        var file = Path.Combine(_folder["result"], "model.dcm");
        var (_, output, errors) = Tool.Run("dciodvfy", file);
        (output + errors).Should().Contain("EncapsulatedSTL").And.NotContain("Error");

        using var source = JsonDocument.Parse(Tool.Run("dcm2json", Directory.GetFiles(images).Order(StringComparer.Ordinal).First()).Output);
        using var model = JsonDocument.Parse(Tool.Run("dcm2json", file).Output);
        string? Of(JsonDocument json, string tag) => json.RootElement.TryGetProperty(tag, out var a) && a.TryGetProperty("Value", out var v) ? v[0].ToString() : null;
        var stl = File.ReadAllBytes(Path.Combine(_folder["result"], "model.stl"));
        var taken = model.RootElement.GetProperty("00420011").GetProperty("InlineBinary").GetBytesFromBase64();
        taken.AsSpan(0, int.Parse(Of(model, "00420015")!, System.Globalization.CultureInfo.InvariantCulture)).SequenceEqual(stl).Should().BeTrue();

        foreach (var tag in (string[])["00100010", "00100020", "0020000D", "00200052"])
            (Of(model, tag) == Of(source, tag)).Should().Be(identify, "of {0}", tag);
        (Of(model, "00120062") == "YES").Should().Be(!identify);
        using var run = JsonDocument.Parse(File.ReadAllText(Path.Combine(_folder["result"], "run.json")));
        run.RootElement.GetProperty("request").TryGetProperty("identifiersExported", out _).Should().Be(identify);
        run.RootElement.GetProperty("findings").EnumerateArray().Any(f => f.GetProperty("code").GetString() == "identifiers-exported").Should().Be(identify);
        Found(Kept()).Where(f => !f.Contains("model.dcm: ")).Should().BeEmpty("everything else is free of them");
        Found(Kept().Where(k => k.Name == file)).Any().Should().Be(identify);
        TestProgram.Run(Home, "replay", _folder["result"]).ExitCode.Should().Be(0);
        if (identify)
            string.Concat(Directory.GetFiles(Path.Combine(Home, "logs")).Select(File.ReadAllText)).Should().Contain("exported into a model's DICOM file");
    }

    [Fact]
    public void A_moved_model_does_not_claim_the_space_of_the_images_and_a_scan_has_no_identifiers_to_export()
    {
        var images = Write();
        var plan = _folder["moved.yaml"];
        File.WriteAllText(plan, "plan: moved\nversion: \"1\"\nsteps:\n  - threshold: { lowerHu: 300 }\n  - surface\n  - move: { byMm: [10, 0, 0] }\n");
        TestProgram.Run(Home, "prepare", images, "--plan", plan, "--out", _folder["result"], "--identify").ExitCode.Should().BeOneOf(0, 1);
        string Frame(string path)
        {
            using var json = JsonDocument.Parse(Tool.Run("dcm2json", path).Output);
            return json.RootElement.GetProperty("00200052").GetProperty("Value")[0].GetString()!;
        }

        Frame(Path.Combine(_folder["result"], "model.dcm")).Should().StartWith("2.25.").And.NotBe(Frame(Directory.GetFiles(images).Order(StringComparer.Ordinal).First()));
        File.WriteAllText(_folder["points.xyz"], "0 0 0\n10 0 0\n0 10 0\n");
        var scan = TestProgram.Run(Home, "prepare", _folder["points.xyz"], "--plan", "bone", "--out", _folder["other"], "--identify");
        scan.ExitCode.Should().Be(2);
        scan.Errors.Should().Contain("--identify");
    }

    [Fact]
    public void Identifiers_are_shown_on_demand_and_the_fact_is_logged_without_them()
    {
        var images = Write();
        var shown = TestProgram.Run(Home, "inspect", images, "--identify", "--json");
        shown.ExitCode.Should().Be(0, shown.Errors);
        using (var listing = JsonDocument.Parse(shown.Output))
            listing.RootElement.GetProperty("identities")[0].GetProperty("identifiers").EnumerateArray()
                .Select(i => i.GetProperty("value").GetString()).Should().Contain(s_identity.PatientId).And.Contain("19370213");
        TestProgram.Run(Home, "inspect", images, "--identify").Errors.Should().Contain(s_identity.PatientId);
        var log = string.Concat(Directory.GetFiles(Path.Combine(Home, "logs")).Select(File.ReadAllText));
        log.Split('\n').Count(l => l.Contains("Identifiers of 1 series were shown by inspect --identify")).Should().Be(2);
        Found(Kept()).Should().BeEmpty();
    }

    private const string s_fileWord = "ZQFILENAMEX";

    private string Write()
    {
        var phantom = PhantomCatalogue.Create("sphere-in-water", new PhantomOptions { SpacingMm = new Vec3(2, 2, 2) }) with { Identity = s_identity };
        // One slice has a byte too much, so that a finding names its file.
        phantom.Write(_folder["images"], RunContext.Default, new SeriesLayout
        {
            NamePrefix = s_fileWord,
            Change = (slice, file) =>
            {
                if (slice == 2)
                    file.DataSet.Text(new DicomTag(0x0028, 0x0301), Vr.CS, "YES");
            },
        });
        return _folder["images"];
    }

    /// <summary>Everything the program left, each file also in the form its readers see; the list of known sources is the user's own and holds only the path.</summary>
    private IEnumerable<(string Name, byte[] Bytes)> Kept()
    {
        foreach (var folder in (string[])[Home, _folder["result"]])
        {
            if (!Directory.Exists(folder))
                continue;
            foreach (var path in Directory.GetFileSystemEntries(folder, "*", SearchOption.AllDirectories))
            {
                yield return ("name of " + path, Encoding.UTF8.GetBytes(Path.GetRelativePath(_folder.Path, path)));
                if (Directory.Exists(path))
                    continue;
                yield return (path, File.ReadAllBytes(path));
                if (path.EndsWith(".pdf", StringComparison.Ordinal))
                    yield return (path + ", as text", Encoding.UTF8.GetBytes(Tool.Run("pdftotext", path, "-").Output));
                if (path.EndsWith(".3mf", StringComparison.Ordinal))
                    using (var zip = ZipFile.OpenRead(path))
                        foreach (var entry in zip.Entries)
                            using (var stream = entry.Open())
                            {
                                var bytes = new MemoryStream();
                                stream.CopyTo(bytes);
                                yield return ($"{path}/{entry.FullName}", bytes.ToArray());
                            }
            }
        }
    }

    private static IEnumerable<string> Found(IEnumerable<(string Name, byte[] Bytes)> things)
    {
        string[] words = [.. s_identity.Telltales, s_fileWord];
        foreach (var (name, bytes) in things)
        {
            // Also as base64, in which a signed record holds its statement.
            var text = Encoding.UTF8.GetString(bytes);
            var all = text + Decoded(text);
            foreach (var word in words)
                if (all.Contains(word, StringComparison.OrdinalIgnoreCase))
                    yield return $"{name}: {word}";
        }
    }

    private static string Decoded(string text)
    {
        if (!text.Contains("\"payload\"", StringComparison.Ordinal))
            return "";
        using var envelope = JsonDocument.Parse(text);
        return Encoding.UTF8.GetString(envelope.RootElement.GetProperty("payload").GetBytesFromBase64());
    }
}
