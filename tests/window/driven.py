"""Which test drives which control of which window, and which one each deed of the menus."""

BUTTONS = "test_the_buttons_of_the_tape_do_what_the_keys_do"
PRACTICE = "test_the_practice_set_is_keyed_and_left_alone"
SET_UP = "test_every_control_of_the_set_up"
OUTPUT = "test_the_output_is_chosen_in_the_set_up_and_remembered"
FOLDER = "test_the_folders_are_chosen_in_the_set_up_and_remembered"
BY_EAR = "test_a_b_the_other_and_silence_by_key"
BLIND = "test_blind_gives_nothing_away_until_it_is_told"
FORMS = "test_the_forms_of_a_set_and_its_sheet"
BEGUN = "test_from_an_empty_file_to_a_judged_reading"
HISTORY = "test_search_history_and_other_sheets"
PARTS = "test_parts_and_the_helpers_report"
CURED = "test_a_fault_is_noted_and_its_cure_later"
FIELDS = "test_every_field_of_the_bench"
ASKED = "test_questions_are_answered_by_enter_and_by_typing"
CONSENT = "test_nothing_is_opened_before_a_plain_yes"
BENCH_END = "test_what_the_bench_offers_at_the_end"
SHEET_FILES = "test_the_files_are_asked_for_without_holding_anything_up"
HANDED = "test_a_sheet_handed_out_as_zip_comes_in_whole_elsewhere"

DRIVEN: dict[str, dict[str, str]] = {
    "main": {
        "Compare": BUTTONS, "Discard": BUTTONS, "Keep": BUTTONS, "Replay": BUTTONS, "Talk now": PRACTICE,
        "talk over and over": PRACTICE, "over tape": "test_choosing_and_comparing_overs",
        "deviation control of the simulated set": "test_practice_knobs_turn_the_simulated_set",
        "mic gain of the simulated set": "test_practice_knobs_turn_the_simulated_set",
        "overload lamp": "test_the_lamp_latches_on_an_overload_inside_an_over_only",
    },
    "set-up": {
        "input": SET_UP, "channel": SET_UP, "Listen to it": SET_UP, "Look again": SET_UP,
        "de-emphasis of the feed": SET_UP, "tone": SET_UP, "peak deviation of the tone": SET_UP,
        "receiver's IF bandwidth": SET_UP, "Learn from this tone": SET_UP,
        "Learn roughly from the hiss": SET_UP, "Take a feed file …": SET_UP, "No scale": SET_UP,
        "Done": SET_UP, "limits": "test_set_up_shows_level_scale_and_limits", "output": OUTPUT,
        "another folder for kept overs (K)": FOLDER,
        "another folder for recordings (Ctrl+R)": FOLDER, "Try it": OUTPUT, "It feeds no transmitter": OUTPUT,
    },
    "comparison": {
        "A": BY_EAR, "B": BY_EAR, "The other one (Space)": BY_EAR, "Silence (H)": BY_EAR, "Blind": BLIND,
        "Tell (T)": BLIND, "Replay over 1": "test_a_replay_as_it_was_heard_keeps_off_a_carrier_too",
        "Replay over 2": "test_a_replay_as_it_was_heard_keeps_off_a_carrier_too",
        "The output feeds no transmitter": "test_an_output_that_feeds_no_transmitter_may_play_at_any_time",
        "Done": "test_pages_of_text_and_the_comparison_are_put_away",
    },
    "keys": {"Done": "test_pages_of_text_and_the_comparison_are_put_away"},
    "sheets": {
        "search all sheets": HISTORY, "sets": HISTORY, "sheets of this set": HISTORY,
        "what was read": BEGUN, "reading with its unit": BEGUN, "as found or as left": BEGUN,
        "point of the scale": "test_an_unlikely_reading_passes_when_somebody_says_that_it_is_right",
        "it is right": "test_an_unlikely_reading_passes_when_somebody_says_that_it_is_right",
        "Put on the sheet": "test_an_unlikely_reading_passes_when_somebody_says_that_it_is_right",
        "Over as found": "test_an_over_of_the_simulated_set_goes_on_a_sheet_only_when_it_is_asked_for_twice",
        "Over as left": "test_an_over_without_audio_gives_its_figures_and_says_so",
        "readings as found and as left": (
            "test_a_reading_is_withdrawn_by_key_and_the_one_before_it_stands_again"
        ),
        "Hand out …": HANDED, "Sheet from a file …": HANDED,
        "Report …": SHEET_FILES, "Another file …": SHEET_FILES, "New set …": FORMS, "New sheet …": FORMS,
        "Work on the set …": "test_lists_tabs_and_buttons_of_the_sheets",
        "tabs": "test_lists_tabs_and_buttons_of_the_sheets",
        "history of the set": "test_lists_tabs_and_buttons_of_the_sheets",
        "notes and clips": "test_lists_tabs_and_buttons_of_the_sheets",
        "Done": "test_lists_tabs_and_buttons_of_the_sheets",
    },
    "new set": dict.fromkeys(
        ("maker", "model", "serial number", "service of the set", "OK and Cancel"), FORMS
    ),
    "new sheet": dict.fromkeys(
        ("limits of the sheet", "channel", "assigned frequency", "complaint", "OK and Cancel"), FORMS
    ),
    "fault": dict.fromkeys(("fault", "cure", "OK and Cancel"), "test_a_fault_may_come_with_its_cure"),
    "cure": dict.fromkeys(("Fault", "cure", "OK and Cancel"), CURED),
    "part": dict.fromkeys(("part", "Count", "OK and Cancel"), PARTS),
    "spoken": dict.fromkeys(
        ("The set is heard", "Readability", "Strength", "helper", "place", "words of the helper",
         "OK and Cancel"), PARTS,
    ),
    "withdraw": {"OK and Cancel": "test_a_reading_is_withdrawn_by_key_and_the_one_before_it_stands_again"},
    "close": {"OK and Cancel": "test_the_set_leaves_the_bench_once_that_is_confirmed"},
    "bench": {
        "measurements": "test_every_measurement_is_listed_with_what_it_needs",
        "Rehearse": FIELDS, "Sound card": CONSENT, "answer every question for me": ASKED,
        "Start": "test_a_rehearsal_ends_with_figures_and_asks_no_consent",
        "limits": FIELDS, "input": FIELDS, "channel": FIELDS, "learned output": FIELDS,
        "choose the output file": FIELDS, "feed of the monitor receiver": FIELDS,
        "choose the feed file": FIELDS, "first level at the socket": FIELDS,
        "first generator level": FIELDS, "nominal frequency": FIELDS, "allowed error": FIELDS,
        "beat note": FIELDS, "de-emphasis of the FM feed": FIELDS, "the carrier is seen by": FIELDS,
        "deviation to be set": FIELDS, "I and Q": FIELDS, "your voice at the socket": FIELDS,
        "I have read this": CONSENT, "Go on": CONSENT, "Back": CONSENT, "what it is set to": ASKED,
        "Done  (Enter)": ASKED, "stop": BENCH_END, "Store as a feed …": BENCH_END,
        "Keep on the sheet file …": BENCH_END, "Save as JSON …": BENCH_END,
        "Again": CONSENT, "Back to the list": BENCH_END, "figures": BENCH_END,
    },
}  # fmt: skip

KEYS = "test_the_keys_that_no_other_test_presses"
REMEMBERED = "test_what_is_chosen_is_remembered"
PRESSED: dict[str, str] = {
    "set_up": "test_set_up_shows_level_scale_and_limits", "practise": KEYS,
    "listen": "test_an_input_that_goes_away_is_named_and_can_be_opened_again", "talk": KEYS, "leave": KEYS,
    "record": "test_one_key_starts_and_stops_it_and_the_state_is_in_sight",
    "replay": "test_the_key_replays_only_while_no_carrier_is_up", "hush": KEYS,
    "keep": "test_a_real_over_goes_all_the_way", "discard": "test_a_real_over_goes_all_the_way",
    "compare": "test_choosing_and_comparing_overs", "earlier": "test_choosing_and_comparing_overs",
    "newer": "test_choosing_and_comparing_overs", "job_sheets": KEYS,
    "over_as_found": "test_one_key_puts_the_chosen_over_and_its_clip_on_the_sheet",
    "over_as_left": "test_one_key_puts_the_chosen_over_and_its_clip_on_the_sheet",
    "bench_measurements": KEYS, "far": "test_far_view_by_key_and_back",
    "pictures": "test_pictures_are_left_out_by_key_and_that_is_remembered",
    "freeze": "test_freeze_holds_the_pictures", "scope_view": REMEMBERED, "persistence": REMEMBERED,
    "average": REMEMBERED, "clear": KEYS, "whole": KEYS, "appearance": REMEMBERED, "larger": KEYS,
    "smaller": KEYS, "sound_cue": REMEMBERED, "keys": KEYS, "cautions": KEYS,
}  # fmt: skip
