using AnatomyPrep.Core.Findings;
using AnatomyPrep.Imaging.Acquire;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Jobs;
using AnatomyPrep.Service.Requests;
using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Tests.Service.Requests;

/// <summary>What contradicts is a stop, what is not said is a caution, what agrees is nothing.</summary>
public sealed class SourceMatchTests
{
    private const string Somebody = "aa";

    [Theory]
    [InlineData("skull", "HEAD", null)]
    [InlineData("left femur", "THIGH", null)]
    [InlineData("shoulder", "CHEST", null)] // beside each other: possible
    [InlineData("skull", "FOOT", FindingCodes.AnatomyMismatch)]
    [InlineData("femur", "SKULL", FindingCodes.AnatomyMismatch)]
    [InlineData("hand", "CHESTABDPELVIS", FindingCodes.AnatomyMismatch)]
    [InlineData("skull", null, FindingCodes.AnatomyUnknown)]
    [InlineData("gizmo", "HEAD", FindingCodes.AnatomyUnknown)]
    [InlineData("hand", "WHOLEBODY", null)]
    public void Anatomy_is_compared_by_region(string anatomy, string? bodyPart, string? expected) =>
        Codes(Ask(anatomy, null), Of(bodyPart, null)).Should().Equal(expected is null ? [] : [expected]);

    [Theory]
    [InlineData(Side.Left, "L", null)]
    [InlineData(Side.Right, "R", null)]
    [InlineData(Side.Both, "B", null)]
    [InlineData(Side.Midline, "U", null)]
    [InlineData(Side.Left, "R", FindingCodes.SideMismatch)]
    [InlineData(Side.Right, "L", FindingCodes.SideMismatch)]
    [InlineData(Side.Both, "L", FindingCodes.SideMismatch)]
    [InlineData(Side.Midline, "R", FindingCodes.SideMismatch)]
    [InlineData(Side.Left, "B", FindingCodes.SideUnknown)]
    [InlineData(Side.Left, "U", FindingCodes.SideUnknown)]
    [InlineData(Side.Left, null, FindingCodes.SideUnknown)]
    [InlineData(null, "R", null)]
    public void Sides_are_compared(Side? side, string? laterality, string? expected) =>
        Codes(Ask("skull", side), Of("HEAD", laterality)).Should().Equal(expected is null ? [] : [expected]);

    [Fact]
    public void Another_patient_and_a_patient_that_is_not_named_are_stops()
    {
        var asked = Ask("skull", null) with { PatientKey = Somebody };
        SourceMatch.Judge(asked, Of("HEAD", null) with { PatientKey = "bb" }).Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.PatientMismatch && f.Severity == Severity.Stop);
        SourceMatch.Judge(asked, Of("HEAD", null) with { PatientKey = null }).Should().ContainSingle().Which.Should().Match<Finding>(f => f.Code == FindingCodes.PatientUnknown && f.Severity == Severity.Stop);
        SourceMatch.Judge(asked, Of("HEAD", null)).Should().BeEmpty();
    }

    [Fact]
    public void Every_term_that_the_reader_believes_has_its_region() =>
        BodyParts.Terms.Should().OnlyContain(term => BodyRegions.CanShow(term, "body") == true);

    private static JobRequest Ask(string anatomy, Side? side) => new(Purpose.Planning, anatomy, side, "bone", null, null, null, "source");

    private static SourceEntry Of(string? bodyPart, string? laterality) => new("source", "series", null, Somebody, DateTimeOffset.UnixEpoch, null, 1, 1, bodyPart, laterality, 1);

    private static string[] Codes(JobRequest asked, SourceEntry source)
    {
        var found = SourceMatch.Judge(asked, source);
        found.All(f => f.Remedy.Length > 0 && (f.Severity == Severity.Stop) == f.Code.EndsWith("mismatch", StringComparison.Ordinal)).Should().BeTrue();
        return [.. found.Select(f => f.Code)];
    }
}
