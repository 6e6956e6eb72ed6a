using System.Net;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Service.Accounts;
using Microsoft.Data.Sqlite;

namespace AnatomyPrep.Tests.Service.Accounts;

/// <summary>Accounts are made by their owners, open with their password only, and rest when somebody guesses.</summary>
public sealed class AccountTests : IDisposable
{
    private readonly TestFolder _folder = new();

    public void Dispose() => _folder.Dispose();

    [Fact]
    public async Task The_first_administrator_comes_in_by_a_link_that_works_once()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        var secret = service.Accounts.InviteFirst()!;
        using var http = new HttpClient { BaseAddress = service.Address };
        using var form = new FormUrlEncodedContent(new Dictionary<string, string> { ["token"] = secret, ["name"] = "first", ["password"] = ServiceClient.Password });
        (await http.PostAsync("/invitation", form)).StatusCode.Should().Be(HttpStatusCode.OK);
        using var second = new FormUrlEncodedContent(new Dictionary<string, string> { ["token"] = secret, ["name"] = "second", ["password"] = ServiceClient.Password });
        (await http.PostAsync("/invitation", second)).StatusCode.Should().Be(HttpStatusCode.Conflict);
        service.Accounts.List().Should().ContainSingle().Which.Should().Match<AccountEntry>(a => a.Name == "first" && a.Role == Roles.Administrator);
        service.Accounts.InviteFirst().Should().BeNull("there is an account");
        service.Log.Text.Should().NotContain(secret).And.NotContain(ServiceClient.Password);
    }

    [Theory]
    [InlineData("", "correct horse battery")]
    [InlineData("a b", "correct horse battery")]
    [InlineData("<b>", "correct horse battery")]
    [InlineData("name", "short")]
    public async Task Names_and_passwords_that_are_not_allowed_say_which_are(string name, string password)
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        var secret = service.Accounts.Invite(Roles.Technician, null);
        await FluentActions.Awaiting(() => service.Accounts.AcceptAsync(secret, name, password)).Should().ThrowAsync<PlanException>();
    }

    [Fact]
    public async Task Five_wrong_passwords_and_the_account_rests_even_for_the_right_one()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        using var client = await ServiceClient.AsAsync(service, Roles.Technician);
        using var guesser = new ServiceClient(service.Address);
        for (var k = 0; k < 5; k++)
            (await guesser.SignInAsync(Roles.Technician, $"wrong password {k}")).StatusCode.Should().Be(HttpStatusCode.Unauthorized);
        (await guesser.SignInAsync(Roles.Technician, ServiceClient.Password)).StatusCode.Should().Be(HttpStatusCode.Unauthorized);
        (await client.SendAsync(HttpMethod.Get, "/api/v1/session")).StatusCode.Should().Be(HttpStatusCode.OK, "who is in stays in");
        (await guesser.SignInAsync("nobody-here", ServiceClient.Password)).StatusCode.Should().Be(HttpStatusCode.Unauthorized);
        service.Events.After(0, 100).Should().Contain(e => e.Event.Kind == "account.rests").And.NotContain(e => e.Event.Subject == "nobody-here");
    }

    [Fact]
    public async Task A_disabled_account_is_out_at_once_and_the_last_administrator_stays()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        using var admin = await ServiceClient.AsAsync(service, Roles.Administrator);
        using var client = await ServiceClient.AsAsync(service, Roles.Technician);
        (await admin.SendAsync(HttpMethod.Post, $"/api/v1/accounts/{Roles.Technician}/disable")).StatusCode.Should().Be(HttpStatusCode.NoContent);
        (await client.SendAsync(HttpMethod.Get, "/api/v1/session")).StatusCode.Should().Be(HttpStatusCode.Unauthorized);
        (await client.SignInAsync(Roles.Technician, ServiceClient.Password)).StatusCode.Should().Be(HttpStatusCode.Unauthorized);
        (await admin.SendAsync(HttpMethod.Post, $"/api/v1/accounts/{Roles.Administrator}/disable")).StatusCode.Should().Be(HttpStatusCode.Conflict);
    }

    [Fact]
    public async Task A_session_ends_when_its_owner_says_so()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        using var client = await ServiceClient.AsAsync(service, Roles.Technician);
        (await client.SendAsync(HttpMethod.Delete, "/api/v1/session")).StatusCode.Should().Be(HttpStatusCode.NoContent);
        (await client.SendAsync(HttpMethod.Get, "/api/v1/session")).StatusCode.Should().Be(HttpStatusCode.Unauthorized);
    }

    [Fact]
    public void A_password_matches_its_own_hash_only()
    {
        var hash = PasswordHash.Of("correct horse battery");
        hash.Matches("correct horse battery").Should().BeTrue();
        hash.Matches("correct horse batterz").Should().BeFalse();
        hash.Salt.Should().NotEqual(PasswordHash.Of("correct horse battery").Salt);
    }

    [Fact]
    public async Task Events_cannot_be_changed_or_deleted()
    {
        await using var service = await RunningService.StartAsync(_folder["data"], new { });
        service.Accounts.Invite(Roles.Technician, "tester");
        using var connection = new SqliteConnection($"Data Source={Path.Combine(service.Data, "service.db")}");
        connection.Open();
        foreach (var sql in new[] { "UPDATE event SET kind = 'x'", "DELETE FROM event" })
        {
            using var command = connection.CreateCommand();
            command.CommandText = sql;
            command.Invoking(c => c.ExecuteNonQuery()).Should().Throw<SqliteException>().WithMessage("*events are never*");
        }
    }
}
