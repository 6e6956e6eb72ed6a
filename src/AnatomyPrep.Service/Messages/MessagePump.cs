using System.Data.Common;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Messages;

/// <summary>Delivers what the outbox holds: each target in order, and none waits for another.</summary>
internal sealed class MessagePump(MessageOutbox outbox, ServiceSettings settings, IEventSink events, TimeProvider clock, ILogger<MessagePump> log) : BackgroundService
{
    private static readonly TimeSpan s_pause = TimeSpan.FromMilliseconds(500);

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        var webhooks = settings.Messages.Webhooks.Select(w => new Webhook(w, clock)).ToArray();
        try
        {
            TellGone();
            IEnumerable<IMessageTarget> targets = settings.Messages.Mail is { } mail ? [.. webhooks, new Mail(mail, settings.Messages.PageUrl)] : webhooks;
            await Task.WhenAll(targets.Select(t => DeliverAsync(t, stoppingToken))).ConfigureAwait(false);
        }
        finally
        {
            foreach (var webhook in webhooks)
                webhook.Dispose();
        }
    }

    private void TellGone()
    {
        try
        {
            if (outbox.Tidy() is > 0 and var gone)
                events.Append(new("message.failed", null, Detail: $"{gone} messages for targets that are no longer in the settings"));
        }
        catch (DbException e)
        {
            log.LogWarning("Old messages could not be put in order: {Kind}", e.GetType().Name);
        }
    }

    private async Task DeliverAsync(IMessageTarget target, CancellationToken stopping)
    {
        // Off the thread that starts the service.
        await Task.Yield();
        while (!stopping.IsCancellationRequested)
        {
            try
            {
                while (outbox.Claim(target.Name) is { } message)
                    await DeliverAsync(target, message, stopping).ConfigureAwait(false);
                await Task.Delay(s_pause, stopping).ConfigureAwait(false);
            }
            catch (OperationCanceledException) when (stopping.IsCancellationRequested)
            {
                return;
            }
            catch (Exception e)
            {
                log.LogError("Messages to {Target} cannot be delivered: {Kind}; it is tried again", target.Name, e.GetType().Name);
                await Task.Delay(s_pause, stopping).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
        }
    }

    private async Task DeliverAsync(IMessageTarget target, Message message, CancellationToken stopping)
    {
        try
        {
            await target.SendAsync(message, stopping).ConfigureAwait(false);
            outbox.Delivered(message);
        }
        catch (DeliveryException e)
        {
            log.LogWarning("Message {Message} to {Target}, try {Try}: {Error}", message.Id, target.Name, message.Tries, e.Message);
            if (outbox.Failed(message, e.Message, e.IsFinal))
                events.Append(new("message.failed", message.Id, Detail: $"to {target.Name}: {e.Message}"));
        }
    }
}
