using System.Globalization;
using AnatomyPrep.Core.Dicom;

namespace AnatomyPrep.Tests.Core.Dicom;

public sealed class DicomUidTests
{
    [Fact]
    [Trait("Kind", "Outside")]
    public void Identifiers_are_uuids_under_their_root()
    {
        // DICOM PS3.5 B.2: 2.25 and a UUID as a decimal number without leading zeros; RFC 9562: version 8, variant 10.
        var seen = new HashSet<string>();
        for (var i = 0; i < 500; i++)
        {
            var uid = DicomUid.From(i.ToString(CultureInfo.InvariantCulture));
            uid.Length.Should().BeLessThanOrEqualTo(64);
            uid.Should().MatchRegex("^2\\.25\\.(0|[1-9][0-9]*)$");
            var number = UInt128.Parse(uid[5..], CultureInfo.InvariantCulture);
            ((int)(number >> 76) & 0xF).Should().Be(8);
            ((int)(number >> 62) & 0x3).Should().Be(2);
            seen.Add(uid).Should().BeTrue();
        }
    }
}
