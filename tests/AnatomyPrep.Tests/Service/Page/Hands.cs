using Microsoft.Playwright;

namespace AnatomyPrep.Tests.Service.Page;

/// <summary>How somebody works: with the mouse, or with the keyboard alone. By keyboard a control is reached with Tab and nothing else.</summary>
internal sealed class Hands(IPage page, bool keyboard)
{
    private const int MostTabs = 250;

    public bool Keyboard => keyboard;

    public async Task PressAsync(ILocator target)
    {
        await target.WaitForAsync();
        if (!keyboard)
        {
            await target.ClickAsync();
            return;
        }

        await ReachAsync(target);
        await page.Keyboard.PressAsync("Enter");
    }

    public async Task WriteAsync(ILocator target, string words)
    {
        await target.WaitForAsync();
        if (!keyboard)
        {
            await target.FillAsync(words);
            return;
        }

        await ReachAsync(target);
        await page.Keyboard.PressAsync("Control+A");
        await page.Keyboard.TypeAsync(words);
    }

    /// <summary>Chooses by the beginning of the words that are shown.</summary>
    public async Task ChooseAsync(ILocator target, string label)
    {
        if (!keyboard)
        {
            var option = target.Locator("option").Filter(new() { HasTextRegex = new($"^{System.Text.RegularExpressions.Regex.Escape(label)}") }).First;
            await target.SelectOptionAsync(await option.GetAttributeAsync("value") ?? "");
            return;
        }

        await ReachAsync(target);
        // What somebody types while a choice has the focus chooses what begins so.
        await page.Keyboard.TypeAsync(label);
        await page.WaitForFunctionAsync("([e, label]) => e.selectedOptions[0]?.textContent.startsWith(label) ?? true", new object[] { (await target.ElementHandleAsync())!, label });
    }

    /// <summary>A day, as the browser's own field takes it.</summary>
    public async Task DateAsync(ILocator target, DateOnly day)
    {
        if (!keyboard)
        {
            await target.FillAsync(day.ToString("yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture));
            return;
        }

        await ReachAsync(target);
        await page.Keyboard.TypeAsync(day.ToString("MMddyyyy", System.Globalization.CultureInfo.InvariantCulture));
    }

    public async Task CheckAsync(ILocator target)
    {
        if (keyboard)
        {
            await ReachAsync(target);
            await page.Keyboard.PressAsync("Space");
        }
        else
        {
            await target.CheckAsync();
        }
    }

    /// <summary>Tab until it has the focus.</summary>
    public async Task ReachAsync(ILocator target)
    {
        await target.WaitForAsync();
        for (var tabs = 0; tabs < MostTabs; tabs++)
        {
            if (await target.EvaluateAsync<bool>("e => e === document.activeElement"))
                return;
            await page.Keyboard.PressAsync("Tab");
        }

        throw new TimeoutException($"{target} is not reached with Tab.");
    }
}
