using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>Who the patient is leaves the reader only when it is asked for. Everybody in here is invented.</summary>
public sealed class IdentityTests
{
    [Fact]
    [Trait("Kind", "Truth")]
    public void Identifiers_are_told_only_when_they_are_asked_for()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3, (_, ct) => ct.With(Tag.InstitutionName, "LO", "INVENTED INSTITUTE").With(Tag.PatientBirthDate, "DA", "19370213"));
        TestReader.Source.Inspect(folder.Path, RunContext.Default).Identities.Should().BeNull();
        var identity = TestReader.Source.Inspect(folder.Path, RunContext.Default, identify: true).Identities.Should().ContainSingle().Subject;
        identity.Selector.Should().Be("1.2.3.4.2");
        identity.Identifiers.Should().Equal(
            KeyValuePair.Create("Institution Name", "INVENTED INSTITUTE"), KeyValuePair.Create("Patient's Name", "Nobody^Invented"),
            KeyValuePair.Create("Patient ID", "INVENTED-ID-77"), KeyValuePair.Create("Patient's Birth Date", "19370213"));
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Shown_text_cannot_command_a_terminal_and_follows_its_character_set()
    {
        using var folder = new TestFolder();
        byte[] name = [.. "Zo"u8, .. "\u00EB"u8, 0x1B, .. "[31m"u8, 0x07, (byte)' '];
        TestCt.SaveSeries(folder, 2, (_, ct) => ct.With(Tag.SpecificCharacterSet, "CS", "ISO_IR 192").WithBytes(Tag.PatientName, "PN", name));
        var shown = TestReader.Source.Inspect(folder.Path, RunContext.Default, identify: true).Identities!.Single().Identifiers;
        shown.Should().Contain(KeyValuePair.Create("Patient's Name", "Zo\u00EB?[31m?"));
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void The_caller_sees_the_patient_ID_before_anything_is_decoded_and_may_refuse()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 2);
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default, id => $"<{id}>");
        series.PatientPseudonym.Should().Be("<INVENTED-ID-77>");
        FluentActions.Invoking(() => TestReader.Source.Load(folder.Path, null, RunContext.Default, _ => throw new CheckFailedException("patient", "a", "b"))).Should().Throw<CheckFailedException>();
        TestCt.SaveSeries(folder, 2, (_, ct) => ct.Without(Tag.PatientId));
        using var nobody = TestReader.Source.Load(folder.Path, null, RunContext.Default, id => id ?? "none");
        nobody.PatientPseudonym.Should().Be("none");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Findings_for_records_number_files_instead_of_naming_them()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 4, (k, ct) => k == 2 ? ct.WithPixels(new ushort[50]) : ct);
        File.Move(folder["s002.dcm"], folder["Nobody Invented.dcm"]);
        File.WriteAllBytes(folder["Nobody cut.dcm"], TestCt.Slice(9, 9).Bytes()[..301]);
        using var series = TestReader.Source.Load(folder.Path, null, RunContext.Default);
        series.Facts.Findings.Should().Contain(f => f.Message.StartsWith("Nobody Invented.dcm: "));
        series.Findings.Select(f => f.Code).Should().Equal(series.Facts.Findings.Select(f => f.Code));
        series.Findings.Should().Contain(f => f.Message == "File 3: Pixel Data (7FE0,0010): 4 bytes more than rows x columns need; left out.");
        series.Findings.Should().Contain(f => f.Code == FindingCodes.FileTruncated && f.Message.StartsWith("A further file: "));
        string.Concat(series.Findings.Select(f => f.Message)).Should().NotContain("Nobody").And.NotMatchRegex("[\uE000-\uF8FF]");
        string.Concat(series.Facts.Findings.Select(f => f.Message)).Should().NotMatchRegex("[\uE000-\uF8FF]");
    }

    [Fact]
    [Trait("Kind", "Truth")]
    public void Text_in_the_pictures_and_several_patients_in_the_source_are_cautions()
    {
        using var folder = new TestFolder();
        TestCt.SaveSeries(folder, 3, (_, ct) => ct.With(Tag.BurnedInAnnotation, "CS", "YES"));
        for (var k = 0; k < 3; k++)
            TestCt.Slice(20 + k, k).With(Tag.SeriesInstanceUid, "UI", "1.2.3.4.9").With(Tag.PatientId, "LO", "INVENTED-ID-78").Save(folder[$"o{k}.dcm"]);
        using var series = TestReader.Source.Load(folder.Path, "1.2.3.4.2", RunContext.Default);
        series.Findings.Should().Contain(f => f.Code == FindingCodes.BurnedInText && f.Severity == Severity.Caution);
        series.Findings.Should().Contain(f => f.Code == FindingCodes.SeveralPatients && f.Severity == Severity.Caution && f.Message.Contains("2 different"));
    }
}
