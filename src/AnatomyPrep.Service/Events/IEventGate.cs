using AnatomyPrep.Service.Storage;

namespace AnatomyPrep.Service.Events;

/// <summary>What takes every event before its effect can be seen: the signed ledger.</summary>
/// <remarks>It is asked inside the transaction of the effect: if it refuses, there is no effect.</remarks>
public interface IEventGate
{
    /// <summary>An event whose effect is in the same transaction.</summary>
    void Admit(DatabaseChange change, ServiceEvent happened);

    /// <summary>An event that only says something: when it cannot be taken now, it is owed and taken later.</summary>
    void AdmitOrOwe(DatabaseChange change, ServiceEvent happened);
}
