namespace AnatomyPrep.Core.Findings;

public enum Severity
{
    /// <summary>Worth knowing.</summary>
    Note,

    /// <summary>Must be acknowledged by a named person before release.</summary>
    Caution,

    /// <summary>Ends the run.</summary>
    Stop,
}

/// <summary>Where a finding applies; any part may be missing.</summary>
public sealed record Place(int? Slice = null, Geometry.Vec3? PositionMm = null, int? FirstTriangle = null, int? TriangleCount = null);

/// <summary>A fact about data or model that a person should see. Never holds patient data.</summary>
/// <param name="Code">Stable, from <see cref="FindingCodes"/>.</param>
public sealed record Finding(string Code, Severity Severity, string Message, string Remedy, Place? Place = null);
