using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Service.Requests;

/// <summary>What is sent to ask for a model. One of sourceId, patientId and patientKey must be there.</summary>
/// <param name="Scale">Model size over true size.</param>
/// <param name="PatientId">Whose images they must be; turned into a pseudonym at once and kept nowhere.</param>
/// <param name="PatientKey">The same as a pseudonym of this site, as sources show it.</param>
public sealed record NewRequest(
    Purpose Purpose, string Anatomy, string Plan, Side? Side = null, double Scale = 1, DateOnly? NeededBy = null, string? Profile = null, string? Note = null, string? RequesterCode = null,
    string? PatientId = null, string? PatientKey = null, string? SourceId = null);

public sealed record ChosenSource(string SourceId);
