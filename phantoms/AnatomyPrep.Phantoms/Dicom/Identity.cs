using AnatomyPrep.Core.Dicom;

namespace AnatomyPrep.Phantoms.Dicom;

/// <summary>Who a phantom claims to be: always an invented person at an invented institution.</summary>
public sealed record Identity
{
    private static readonly DicomTag s_privateCreator = new(0x0009, 0x0010);

    public static Identity Invented { get; } = new();

    public string PatientName { get; init; } = "INVENTED^Person";

    public string PatientId { get; init; } = "INVENTED-0001";

    public string PatientBirthDate { get; init; } = "";

    public string PatientSex { get; init; } = "O";

    public string InstitutionName { get; init; } = "INVENTED INSTITUTE";

    public string ReferringPhysicianName { get; init; } = "";

    public string AccessionNumber { get; init; } = "";

    public string StudyId { get; init; } = "1";

    /// <summary>Fixed, so that files are the same each time.</summary>
    public string StudyDate { get; init; } = "20200102";

    public string StudyTime { get; init; } = "101500";

    public string StudyDescription { get; init; } = "INVENTED PHANTOM STUDY";

    public string BodyPartExamined { get; init; } = "HEAD";

    /// <summary>Further textual attributes, written into every file.</summary>
    public IReadOnlyList<(DicomTag Tag, Vr Vr, string Value)> Further { get; init; } = [];

    /// <summary>Sequences of one item, written into every file.</summary>
    public IReadOnlyList<(DicomTag Tag, DicomDataSet Item)> Sequences { get; init; } = [];

    /// <summary>Words by which this person could be told: none may ever show in a log, a record or a file name.</summary>
    public IReadOnlyList<string> Telltales { get; init; } = [];

    /// <summary>
    /// An invented person with as many identifying attributes as a CT object holds, each with a word found nowhere
    /// else: plain ones, private ones, ones within sequences.
    /// </summary>
    public static Identity FullOfTelltales(ulong seed)
    {
        var words = new TelltaleWords(seed);
        return new Identity
        {
            PatientName = words.Name("patient") + "^INVENTED",
            PatientId = words.Word("id"),
            PatientBirthDate = words.Date("19370213"),
            PatientSex = "F",
            InstitutionName = words.Word("institution"),
            ReferringPhysicianName = words.Name("referrer"),
            AccessionNumber = words.Word("accession"),
            StudyId = words.Word("study"),
            StudyDescription = words.Word("study description"),
            Further = [.. OfCare(words), .. OfPatient(words), .. Private(words)],
            Sequences = [.. WithinSequences(words)],
            Telltales = words.Given,
        };
    }

    private static IEnumerable<(DicomTag Tag, Vr Vr, string Value)> OfCare(TelltaleWords words) =>
    [
        (Tags.InstitutionAddress, Vr.ST, words.Word("institution address")),
        (Tags.InstitutionalDepartmentName, Vr.LO, words.Word("department")),
        (Tags.ReferringPhysicianTelephone, Vr.SH, words.Word("referrer telephone")),
        (Tags.StationName, Vr.SH, words.Word("station")),
        (Tags.SeriesDescription, Vr.LO, words.Word("series")),
        (Tags.PhysiciansOfRecord, Vr.PN, words.Name("of record")),
        (Tags.PerformingPhysicianName, Vr.PN, words.Name("performing")),
        (Tags.NameOfPhysiciansReadingStudy, Vr.PN, words.Name("reading")),
        (Tags.OperatorsName, Vr.PN, words.Name("operator")),
        (Tags.AdmittingDiagnosesDescription, Vr.LO, words.Word("diagnosis")),
        (Tags.DeviceSerialNumber, Vr.LO, words.Word("device")),
        (Tags.ProtocolName, Vr.LO, words.Word("protocol")),
        (Tags.ImageComments, Vr.LT, words.Word("image comments")),
        (Tags.RequestingPhysician, Vr.PN, words.Name("requesting")),
        (Tags.RequestedProcedureDescription, Vr.LO, words.Word("procedure")),
        (Tags.AdmissionId, Vr.LO, words.Word("admission")),
        (Tags.CurrentPatientLocation, Vr.LO, words.Word("location")),
        (Tags.PerformedProcedureStepDescription, Vr.LO, words.Word("performed")),
    ];

    private static IEnumerable<(DicomTag Tag, Vr Vr, string Value)> OfPatient(TelltaleWords words) =>
    [
        (Tags.OtherPatientNames, Vr.PN, words.Name("other")),
        (Tags.PatientBirthName, Vr.PN, words.Name("birth name")),
        (Tags.PatientBirthTime, Vr.TM, "031415"),
        (Tags.PatientAge, Vr.AS, "082Y"),
        (Tags.PatientAddress, Vr.LO, words.Word("address")),
        (Tags.PatientMotherBirthName, Vr.PN, words.Name("mother")),
        (Tags.PatientTelephoneNumbers, Vr.SH, words.Word("telephone")),
        (Tags.Occupation, Vr.SH, words.Word("occupation")),
        (Tags.AdditionalPatientHistory, Vr.LT, words.Word("history")),
        (Tags.PatientReligiousPreference, Vr.LO, words.Word("religion")),
        // One word with a letter outside ASCII: what counts characters for bytes trips here.
        (Tags.PatientComments, Vr.LT, words.Word("comments") + " Zo\u00eb"),
    ];

    private static IEnumerable<(DicomTag Tag, Vr Vr, string Value)> Private(TelltaleWords words) =>
    [
        (s_privateCreator, Vr.LO, "INVENTED PRIVATE"),
        (new DicomTag(0x0009, 0x1001), Vr.LO, words.Word("private")),
        (new DicomTag(0x0009, 0x1002), Vr.PN, words.Name("private name")),
    ];

    private static IEnumerable<(DicomTag Tag, DicomDataSet Item)> WithinSequences(TelltaleWords words) =>
    [
        (Tags.OtherPatientIdsSequence, new DicomDataSet()
            .Text(Tags.PatientId, Vr.LO, words.Word("other id"))
            .Text(Tags.TypeOfPatientId, Vr.CS, "TEXT")),
        (Tags.RequestAttributesSequence, new DicomDataSet()
            .Text(Tags.ScheduledProcedureStepDescription, Vr.LO, words.Word("scheduled"))
            .Text(Tags.ScheduledProcedureStepId, Vr.SH, words.Word("scheduled id"))
            .Text(Tags.RequestedProcedureId, Vr.SH, words.Word("requested id"))),
    ];
}
