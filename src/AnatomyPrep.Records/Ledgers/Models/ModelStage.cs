namespace AnatomyPrep.Records.Ledgers.Models;

/// <summary>How far a revision of a model is.</summary>
public enum ModelStage
{
    Requested,
    Sourced,
    Prepared,
    Reviewed,
    Released,
    Printed,
    Inspected,
    Delivered,
    Withdrawn,
}
