using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Storage;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>What will expire, before it does.</summary>
internal static class RetentionApi
{
    public static void MapRetention(this RouteGroupBuilder api) =>
        api.MapGet("/retention", (Retention retention, DateOnly before) => new ListPart<Expiring>(retention.Before(new(before.ToDateTime(TimeOnly.MinValue), TimeSpan.Zero)), null))
            .RequireAuthorization(p => p.RequireRole(Roles.QualityOfficer, Roles.Administrator));
}
