#include "project_folder.hpp"
#include "trimwright/report.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <regex>

#include "job_builder.hpp"
#include "some.hpp"
#include "trimwright/check.hpp"
#include "trimwright/files.hpp"
#include "trimwright/trim.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

std::string page_of(const JobFile& file) {
  const auto settled = settle_and_fit(file.job, file.request.planes);
  REQUIRE(settled);
  const auto trim = plan_trim(settled->job, settled->model, file.request);
  REQUIRE(trim);
  const auto plan = plan_steps(settled->job, *trim);
  return balance_page(settled->job, settled->model, *trim, plan,
                      page_json(settled->job, settled->model, *trim));
}

std::string unwrapped(const std::string& text) { return std::regex_replace(text, std::regex("\\s+"), " "); }

JobFile example() { return *read_job(trimwright::testing::in_project("examples/quillhaven/job.yaml")); }

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t n = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size())) ++n;
  return n;
}

}  // namespace

TEST_CASE("The page of the example is one file below 500 kB that fetches nothing") {
  const auto page = page_of(example());
  CHECK(page.size() < 500'000);
  CHECK(page.find("default-src &#39;none&#39;") != std::string::npos);
  for (const char* fetched : {"<link", "<img", "<iframe", " src=", "@import", "url("})
    CHECK_MESSAGE(count(page, fetched) == 0, fetched);
  CHECK(count(page, "http:") + count(page, "https:") == 0);
}

TEST_CASE("Runs that contradict one another: page, text, steps and document say alike to fit nothing yet") {
  for (const bool agree : {false, true}) {
    const auto file =
        agree ? example() : *read_job(trimwright::testing::in_project("examples/quillhaven/misread.yaml"));
    const auto [job, model] = *settle_and_fit(file.job, file.request.planes);
    TrimRequest request = file.request;
    request.max_changes = 1;
    const auto trim = plan_trim(job, model, request);
    REQUIRE(trim);
    const auto plan = plan_steps(job, *trim);
    const std::string words = trust(job, model).words();
    CHECK(words.starts_with("Fit nothing yet: neither way of reading the phases fits") == !agree);
    const auto json = plan_json(job, model, *trim, plan);
    CHECK((json.find("\"fit_nothing_yet\": null") != std::string::npos) == agree);
    CHECK((plan.steps.front().kind == StepKind::settle_first) == !agree);
    for (const auto& shown :
         {balance_page(job, model, *trim, plan, page_json(job, model, *trim)),
          unwrapped(plan_text(job, model, *trim, plan)), plan.steps.front().instruction}) {
      CHECK((shown.find("Fit nothing yet") == std::string::npos) == agree);
      CHECK(shown.find(words) != std::string::npos);
    }
  }
}

TEST_CASE("The page says what the plan says, with its cautions and lines to sign, and lines for the record") {
  const auto page = page_of(example());
  for (const char* words : {"spinner slot 40, 13.0° with rotation, between blades 28 and 29",
                            "A running engine can kill", "torque", "tools accounted for", "Record number",
                            "Digest", "Released by (licensed)", "seen from the front", "NOT PREDICTED"})
    CHECK_MESSAGE(page.find(words) != std::string::npos, words);
  for (const auto& caution : some(cautions())) CHECK(page.find(caution.substr(0, 40)) != std::string::npos);
}

TEST_CASE("A card for every slot that changes and a bar for every place to run come before all else") {
  const auto file = example();
  const auto page = page_of(file);
  const auto settled = settle_and_fit(file.job, file.request.planes);
  const auto trim = plan_trim(settled->job, settled->model, file.request);
  const auto plan = plan_steps(settled->job, *trim);
  CHECK(count(page, "<li class=\"card\">") == plan.changes.size());
  const auto to_read = readings_to_make(settled->job);
  const auto overall = std::count_if(to_read.begin(), to_read.end(), [](const PlaceToRead& one) {
    return one.component == Component::overall;
  });
  REQUIRE(overall == 1);
  CHECK(page.find("front at 4915 rpm (96 %), overall level, to be read too; stop above 1.00") !=
        std::string::npos);
  CHECK(count(page, "<li class=\"level") == plan.expected.size());
  CHECK(page.find("<li class=\"card\">") < page.find("<li class=\"level"));
  CHECK(page.find("<li class=\"level") < page.find("class=\"map\""));
}

TEST_CASE("Blades are drawn where a person sees them: at the end from which they are counted") {
  const auto page =
      page_of(example());  // the spinner from the front, the drum from aft; each on page and sheet
  CHECK(count(page, "<g class=\"blades\">") == 2);
  CHECK(count(page, ">blade 1<") == 2);
}

TEST_CASE("Before any run and after a baseline alone the page is a run sheet, and the trial run with one") {
  JobFile file = example();
  file.job.runs.resize(1);
  file.job.fitted_now = file.job.runs[0].fitted;
  const auto trial = plan_trial(file.job, file.request, nullptr, {});
  REQUIRE(trial);
  const auto page = trial_page(trial->job, trial->advice, trial->steps);
  for (const char* words :
       {"Fit one trial weight and run", "Run sheet", "stop above", "A running engine can kill"})
    CHECK_MESSAGE(page.find(words) != std::string::npos, words);
  CHECK(count(page, "<li class=\"card\">") == 1);
  file.job.runs.clear();
  const auto sheet = run_sheet_page(file.job);
  for (const char* words :
       {"Made by", "Wind", "Warm-up", "in this run: slot and weight", "phase, degrees lag"})
    CHECK_MESSAGE(sheet.find(words) != std::string::npos, words);
  file.job.speeds_rpm.clear();
  auto& bands = file.job.rotor.sensors[0].bands;
  REQUIRE(bands.size() == 2);
  bands.back().up_to_rpm = LimitBand{}.up_to_rpm;
  CHECK(run_sheet_page(file.job).find("; at any higher speed stop above ") != std::string::npos);
  bands.erase(bands.begin());
  CHECK(run_sheet_page(file.job).find(">front: at any speed stop above ") != std::string::npos);
}

TEST_CASE("Names, notes and serials cannot break out of the page") {
  const auto plain = page_of(example());
  // OWASP XSS Filter Evasion Cheat Sheet and "Big List of Naughty Strings", chosen from memory.
  for (const std::string evil :
       {"<script>alert(1)</script>", "</script><script>alert(1)</script>", "\"><img src=x onerror=alert(1)>",
        "'><svg onload=alert(1)>", "<!--", "]]>", "&lt;script&gt;", "</title></style>"}) {
    JobFile file = example();
    file.job.serial = file.job.title = file.job.station = file.job.rotor.name = evil;
    file.job.rotor.reference.mark = evil;
    for (auto& plane : file.job.rotor.planes) plane.name += evil;
    for (auto& sensor : file.job.rotor.sensors) sensor.name += sensor.mounting = evil;
    for (auto& run : file.job.runs) {
      run.name += evil;
      run.conditions.other.emplace_back(evil, evil);
      if (run.set_aside) *run.set_aside += evil;
    }
    const auto page = page_of(file);
    for (const char* opening :
         {"<script", "</script", "<img", "<svg", "<!--", "</title", "</style", "<style"})
      CHECK_MESSAGE(count(page, opening) == count(plain, opening), opening << " in a page of " << evil);
  }
}

TEST_CASE("Page and plan say in the same words what is proved of a row of the trade-off") {
  const auto file = example();
  const auto settled = settle_and_fit(file.job, file.request.planes);
  REQUIRE(settled);
  auto trim = plan_trim(settled->job, settled->model, file.request);
  REQUIRE(trim);
  trim->request.most_probable = true;  // the bound is then on a chance
  TradeOffRow& row = trim->trade_off.back();
  row.proved_optimal = row.by_chance = row.without_opposed = false;
  row.objective = 0.42;
  row.bound = 0.40;
  const auto plan = plan_steps(settled->job, *trim);
  for (const std::string& told : {plan_text(settled->job, settled->model, *trim, plan),
                                  balance_page(settled->job, settled->model, *trim, plan,
                                               page_json(settled->job, settled->model, *trim))})
    CHECK(count(told, "within 2.0 points") == 1);
}

TEST_CASE("Weights are marked by their ids when these are short, else by letters") {
  Plane plane;
  for (const char* id : {"K2", "K3"}) plane.weights.emplace_back().id = id;
  CHECK(weight_marks(plane) == std::vector<std::string>{"K2", "K3"});
  for (int i = 0; i < 26; ++i) plane.weights.emplace_back().id = "long-" + std::to_string(i);
  CHECK(weight_marks(plane).front() == "A");
  CHECK(weight_marks(plane)[25] == "Z");
  CHECK(weight_marks(plane)[26] == "AA");
}

namespace {

/// Two sensors, one plane; sensor B was not read in the trial, so nothing predicts it. The check run, made
/// with w2 in slot 5, reads `b` there.
Job half_read(double b) {
  Rotor rotor = free_rotor({}, {"A", "B"});
  rotor.planes.push_back(slotted_plane("spinner", 8, {300.0, 500.0}));
  for (auto& sensor : rotor.sensors) {
    sensor.bands = {{10000.0, 1.0, 0.3}};
    sensor.repeatability = 0.004;
  }
  const KnownRotor known{{Phasor(0.5, 0.0), Phasor(0.2, 0.0)}, {{Phasor(1e-3, 0.0)}, {Phasor(2e-4, 0.0)}}};
  FittedWeights trial, planned;
  trial.slots[1] = {"w1", 300.0};
  planned.slots[5] = {"w2", 500.0};
  Job job = job_of(rotor, {known.run(rotor, "baseline", {{}}), known.run(rotor, "trial", {trial}),
                           known.run(rotor, "check", {planned})});
  job.runs[1].readings.pop_back();
  job.runs[2].readings[1].amplitude = b;
  job.runs[2].readings[1].x = Phasor(b, 0.0);
  job.fitted_now = job.runs[0].fitted;
  return job;
}

/// The page of the plan from the runs before, with the verdict on the check run.
std::string page_after(const Job& job) {
  Job before = job_before(job, 2);
  before.fitted_now = job.fitted_now;
  const auto model = settle_and_fit(before);
  REQUIRE(model);
  const auto trim = plan_choice(before, model->model, {}, job.runs[2].fitted);
  REQUIRE(trim);
  const auto verdict = verdict_on(job, model->model, 2, {});
  return balance_page(job, model->model, *trim, plan_steps(job, *trim), page_json(job, model->model, *trim),
                      &verdict);
}

}  // namespace

TEST_CASE("Page and sheet say of the check run what check says, at a place that nothing predicted, too") {
  const auto page = page_after(half_read(1.2));
  CHECK(count(page, "NOT ACCEPTED: 1 reading is above its limit.") == 2);  // on top and on the sheet
  CHECK(count(page, "✕ ABOVE LIMIT") == count(page_after(half_read(0.2)), "✕ ABOVE LIMIT") +
                                            3);  // as a bar, in the check's table, on the sheet
  CHECK(count(page, "✓ 1 reading predicted below limit and target; 1 not predicted: watch it") ==
        1);  // on top
  CHECK(page.find("all 1 ") == std::string::npos);
}

TEST_CASE("An overall level above its limit, a missing reading and one far off show on page and sheet") {
  Job overall = half_read(0.2);
  add_overall(overall.runs[2], 1.3);
  const auto page = page_after(overall);
  CHECK(count(page, "NOT ACCEPTED: 1 reading is above its limit.") == 2);
  CHECK(page.find("A, overall level") != std::string::npos);

  Job missing = half_read(0.2);
  missing.runs[2].readings.pop_back();
  const auto short_page = page_after(missing);
  CHECK(count(short_page, "NOT ACCEPTED: 1 reading is missing.") == 2);
  CHECK(count(short_page, "✕ MISSING") == 2);  // beside what was expected, and on the sheet
  CHECK(short_page.find("✕ not read: ") != std::string::npos);

  Job far = half_read(0.2);
  far.runs[2].readings[0].x = Phasor(0.0, 0.1);
  far.runs[2].readings[0].amplitude = 0.1;
  CHECK(page_after(far).find("✓ below target, differs") != std::string::npos);
}
