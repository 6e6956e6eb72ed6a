using AnatomyPrep.Service.Accounts;
using AnatomyPrep.Service.Hosting;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;

namespace AnatomyPrep.Service.Api;

/// <summary>The plans and process profiles that may be asked for.</summary>
internal static class CatalogueApi
{
    public static void MapCatalogue(this RouteGroupBuilder api)
    {
        api.MapGet("/plans", (ServiceStart start) => List(start.Plans)).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/plans/{name}", (string name, ServiceStart start) => Get(name, start.Plans)).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<CatalogueText>();
        api.MapGet("/profiles", (ServiceStart start) => List(start.Profiles)).RequireAuthorization(p => p.RequireRole(Roles.All));
        api.MapGet("/profiles/{name}", (string name, ServiceStart start) => Get(name, start.Profiles)).RequireAuthorization(p => p.RequireRole(Roles.All)).Produces<CatalogueText>();
    }

    private static ListPart<CatalogueName> List(IReadOnlyList<CatalogueText> texts) => new([.. texts.Select(t => new CatalogueName(t.Name, t.Description, t.CanScale))], null);

    private static IResult Get(string name, IReadOnlyList<CatalogueText> texts) =>
        texts.FirstOrDefault(t => t.Name == name) is { } found ? Results.Ok(found) : Results.Problem(statusCode: StatusCodes.Status404NotFound, title: "There is no such thing here");
}
