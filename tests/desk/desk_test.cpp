#include "desk/desk.hpp"

#include <doctest/doctest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "project_folder.hpp"
#include "scratch_folder.hpp"
#include "some.hpp"
#include "trimwright/files.hpp"

using namespace trimwright;
using namespace trimwright::testing;
using DeskDocument = nlohmann::ordered_json;

namespace {

std::string project_text(const std::string& name) { return *read_text_file(in_project(name)); }

/// One question to the desk, in a folder of its own.
DeskDocument asked(const std::string& what, DeskDocument rest = DeskDocument::object()) {
  const ScratchFolder scratch;
  rest["do"] = what;
  return DeskDocument::parse(desk_answer(scratch.path("desk"), rest.dump()));
}

/// The files of the shipped example, side by side as the desk has them.
DeskDocument example_files(const std::string& job) {
  std::string text = project_text("examples/quillhaven/" + job);
  const std::string path = "../../configs/larkmere-fan.yaml";
  text.replace(text.find(path), path.size(), "rotor.yaml");
  return {{"job.yaml", text},
          {"rotor.yaml", project_text("configs/larkmere-fan.yaml")},
          {"readings.csv", project_text("examples/quillhaven/readings.csv")},
          {"after.csv", project_text("examples/quillhaven/after.csv")},
          {"run-up.csv", project_text("examples/quillhaven/run-up.csv")},
          {"after-run-up.csv", project_text("examples/quillhaven/after-run-up.csv")}};
}

}  // namespace

TEST_CASE("The desk answers with the documents and words of the program's commands") {
  const auto files = example_files("job.yaml");
  const auto plan = asked("plan", {{"files", files}});
  REQUIRE(plan.contains("document"));
  const auto document = DeskDocument::parse(plan["document"].get<std::string>());
  CHECK(document["trimwright"] == "plan 1");
  CHECK(document["slots"].size() == 3);
  const auto file = read_job(in_project("examples/quillhaven/job.yaml"));
  REQUIRE(file);
  TrimRequest request = file->request;
  request.time_limit_s = 60.0;  // as the desk's: on a busy machine too
  const auto program = plan_job({file->job, request});
  REQUIRE(program);
  CHECK(plan["document"] == plan_json(program->job, program->model, program->trim, program->steps));
  for (const char* what : {"ready", "influence", "trial"}) {
    const auto answer = asked(what, {{"files", files}});
    CHECK_MESSAGE(answer.value("text", std::string{}).find("LKM-417") != std::string::npos, what);
  }
  CHECK(asked("page", {{"files", files}})["page"].get<std::string>().starts_with("<!DOCTYPE html>"));
  CHECK(asked("sheet", {{"files", files}})["page"].get<std::string>().starts_with("<!DOCTYPE html>"));
  const auto verdict = asked("check", {{"files", example_files("after.yaml")}});
  CHECK(DeskDocument::parse(verdict["document"].get<std::string>())["trimwright"] == "check 1");
}

TEST_CASE("A choice of weights is planned instead of the planner's own") {
  auto files = example_files("job.yaml");
  files["fitted.json"] =
      R"({"trimwright": "fitted 1", "rotor": "Larkmere demonstrator fan", "serial": "LKM-417", "fitted": {"spinner": {"4": "K3"}, "drum": {}}})";
  const auto plan = asked("plan", {{"files", files}});
  const auto document = DeskDocument::parse(plan["document"].get<std::string>());
  REQUIRE(document["slots"].size() == 1);
  CHECK(document["slots"][0]["slot"] == 19);
  CHECK(document["slots"][0]["remove"] == "K2");
}

TEST_CASE("A file that is read as a tree and written again says the same") {
  for (const auto& [kind, name] :
       std::vector<std::pair<std::string, std::string>>{{"rotor", "configs/larkmere-fan.yaml"},
                                                        {"job", "examples/quillhaven/job.yaml"},
                                                        {"job", "examples/quillhaven/first-visit.yaml"}}) {
    const auto tree = asked("tree of file", {{"kind", kind}, {"text", project_text(name)}});
    const auto& file = name;
    REQUIRE_MESSAGE(tree.contains("tree"), file);
    const auto text = asked("file of tree", {{"tree", tree["tree"]}})["text"];
    const auto again = asked("tree of file", {{"kind", kind}, {"text", text}});
    CHECK_MESSAGE(again["tree"] == tree["tree"], file);
  }
  // What needs quotation marks gets them.
  const DeskDocument odd = {{"trimwright", "job 1"},
                            {"title", "blade 7: \"new\" # 3, [no]"},
                            {"serial", "0x1F"},
                            {"station", "null"}};
  const auto text = asked("file of tree", {{"tree", odd}})["text"];
  CHECK(asked("tree of file", {{"kind", "job"}, {"text", text}})["tree"] == odd);
}

TEST_CASE("What is not given yet is asked for at its own place") {
  auto tree =
      asked("tree of file", {{"kind", "rotor"}, {"text", project_text("configs/larkmere-fan.yaml")}})["tree"];
  tree["planes"][1]["slots"]["count"] = "";
  const auto text = asked("file of tree", {{"tree", tree}})["text"];
  const auto answer = asked("rotor", {{"files", {{"rotor.yaml", text}}}});
  REQUIRE(answer.contains("error"));
  CHECK(answer["error"]["key"] == "planes[1].slots.count");
  CHECK(answer["error"]["file"] == "rotor.yaml");
}

TEST_CASE("A key that is not there is named, and the map that lacks it") {
  auto tree =
      asked("tree of file", {{"kind", "rotor"}, {"text", project_text("configs/larkmere-fan.yaml")}})["tree"];
  tree["planes"][1].erase("name");
  const auto error = asked("rotor", {{"tree", tree}})["error"];
  CHECK(error["key"] == "planes[1]");
  CHECK(error["missing"] == "name");
  tree["planes"][1]["name"] = "drum";
  tree["planes"][1]["slots"]["count"] = "many";
  CHECK(asked("rotor", {{"tree", tree}})["error"]["missing"] == "");
}

TEST_CASE("Files that are opened are told apart by what they say they are") {
  const auto kinds = asked("kinds", {{"texts", example_files("job.yaml")}})["kinds"];
  CHECK(kinds["job.yaml"] == "job");
  CHECK(kinds["rotor.yaml"] == "rotor");
  CHECK(kinds["readings.csv"] == "");
}

TEST_CASE("The run made with the weights advised is given a name and all that is then fitted") {
  auto files = example_files("first-visit.yaml");
  const auto trial = asked("trial", {{"files", files}});
  const auto change = DeskDocument::parse(trial["document"].get<std::string>())["slots"][0];
  const std::string plane = change["plane"], slot = std::to_string(change["slot"].get<int>());
  CHECK(trial["run"]["name"] == "trial " + plane);
  CHECK(trial["run"]["fitted"][plane][slot] == change["fit"]);
  CHECK(asked("page", {{"files", example_files("job.yaml")}})["run"]["name"] == "check run");
}

TEST_CASE("What is fitted is written into a job as it is read from it, in slots or not") {
  auto files = example_files("first-visit.yaml");
  auto job = asked("tree of file", {{"kind", "job"}, {"text", files["job.yaml"]}})["tree"];
  DeskDocument now;
  now["spinner"].push_back({{"slot", "9"}, {"moment", "780 g.mm"}});
  now["drum"].push_back({{"at", "30 deg against rotation"}, {"moment", "500 g.mm"}});
  job["fitted_now"] = now;
  files["job.yaml"] = asked("file of tree", {{"tree", job}})["text"];
  const auto trial = asked("trial", {{"files", files}});
  REQUIRE(trial.contains("run"));
  const auto change = DeskDocument::parse(trial["document"].get<std::string>())["slots"][0];
  auto expected = now;
  const DeskDocument fitted = {{"slot", std::to_string(change["slot"].get<int>())},
                               {"weight", change["fit"]}};
  auto& of_plane = expected[change["plane"].get<std::string>()];
  of_plane.insert(of_plane.begin() + (change["plane"] == "spinner" && change["slot"] > 9 ? 1 : 0), fitted);
  CHECK(trial["run"]["fitted"] == expected);
}

TEST_CASE("The job tells how many slots a plan may change, and how many where it says nothing") {
  auto files = example_files("job.yaml");
  auto job = asked("tree of file", {{"kind", "job"}, {"text", files["job.yaml"]}})["tree"];
  job["trim"]["max_changes"] = "3";
  files["job.yaml"] = asked("file of tree", {{"tree", job}})["text"];
  const auto facts = asked("job", {{"files", files}});
  CHECK(facts["max_changes"] == 3);
  CHECK(facts["usual_max_changes"] == TrimRequest{}.max_changes);
}

TEST_CASE("A plane is drawn as a person at its end sees it: the reference tooth at the top") {
  const auto facts = asked("rotor", {{"files", {{"rotor.yaml", project_text("configs/larkmere-fan.yaml")}}}});
  const auto& spinner = facts["planes"][0];
  CHECK(spinner["slots"].size() == 40);
  // The fan turns clockwise seen from aft, so counterclockwise seen from the front, where the spinner is
  // looked at from; slot 1 is 4 degrees with rotation from the tooth: just left of the top. Numbers grow
  // clockwise.
  CHECK(spinner["clockwise"] == false);
  CHECK(spinner["slots"][0]["x"].get<double>() == doctest::Approx(-std::sin(4.0 * 3.14159265358979 / 180.0)));
  CHECK(spinner["slots"][0]["y"].get<double>() == doctest::Approx(-std::cos(4.0 * 3.14159265358979 / 180.0)));
  CHECK(spinner["slots"][1]["x"].get<double>() > 0.0);
  CHECK(spinner["slots"][10]["usable"] == false);
}

TEST_CASE("Numbers are taken as the person's decimal mark says, and never guessed") {
  const auto cells =
      asked("numbers", {{"mark", "comma"}, {"cells", {"0,433", "3,010", "12.5", "4.800"}}})["cells"];
  CHECK(cells[0] == "0.433");
  CHECK(cells[1] == "3.010");
  CHECK(cells[2] == "12.5");
  CHECK(cells[3]["error"]["what"].get<std::string>().find("two ways") != std::string::npos);
  CHECK(asked("numbers", {{"mark", "point"}, {"cells", {"0,433", "4.800"}}})["cells"] ==
        DeskDocument{"0.433", "4.800"});
}

TEST_CASE("Every reading is judged by itself, and told by the part that is wrong") {
  const DeskDocument files = {{"rotor.yaml", project_text("configs/larkmere-fan.yaml")}};
  const auto one = [](const char* sensor, const char* amplitude, const char* phase) {
    return DeskDocument{{"speed", "80 %"},
                        {"sensor", sensor},
                        {"amplitude", amplitude},
                        {"phase", phase},
                        {"component", "once-per-rev"}};
  };
  const auto found =
      asked("readings", {{"files", files},
                         {"readings",
                          {one("front", "0.3 in/s peak", "21 deg"), one("front", "0.3 apples", "21 deg"),
                           one("turbine", "3 mil pp", "400 deg")}}})["readings"];
  CHECK(found[0].is_null());
  CHECK(found[1]["key"] == "amplitude");
  CHECK(found[2]["key"] == "phase");
}

TEST_CASE("A paper's scatter of amplitude and phase becomes the one figure that the file holds") {
  // An arc of 10 degrees is 10 pi / 180 = 0.1745 of its radius.
  CHECK(asked("scatter", {{"amplitude", "10 %"}, {"phase", "10 deg"}})["proportional"] == "17.5 %");
  CHECK(asked("scatter", {{"amplitude", "10 %"}, {"phase", "5 deg"}})["proportional"] == "10 %");
  CHECK(asked("scatter", {{"amplitude", "10 %"}, {"phase", ""}})["proportional"] == "10 %");
  CHECK(asked("scatter", {{"amplitude", "10"}, {"phase", ""}})["error"]["expected"] ==
        "a number of %, as 10 %");
}

TEST_CASE("A reading that the runs together contradict is told by its line and the part that is off") {
  auto files = example_files("misread.yaml");
  files["misread.csv"] = project_text("examples/quillhaven/misread.csv");
  const auto doubts = asked("doubts", {{"files", files}})["readings"];
  REQUIRE(doubts.size() == 1);
  CHECK(doubts[0]["file"] == "misread.csv");
  CHECK(doubts[0]["key"] == "phase");
  CHECK(doubts[0]["what"].get<std::string>().find("is what the fit makes of it") != std::string::npos);
  CHECK(asked("doubts", {{"files", example_files("job.yaml")}})["readings"].empty());
}

TEST_CASE("Readings of which the runs cannot tell the wrong one are told together, one of them first") {
  auto files = example_files("job.yaml");
  std::string text = files["readings.csv"];
  const std::string right = "as found,2876 rpm,front,0.433";
  REQUIRE(text.find(right) != text.npos);
  text.replace(text.find(right), right.size(), "as found,2876 rpm,front,0.95");
  files["readings.csv"] = text;
  const auto doubts = asked("doubts", {{"files", files}})["readings"];
  REQUIRE(doubts.size() >= 2);
  for (const auto& one : some(doubts)) CHECK(one["group"] == 0);
  CHECK(doubts[0]["less"] == false);
  for (std::size_t i = 1; i < doubts.size(); ++i) CHECK(doubts[i]["less"] == true);
}

TEST_CASE("Where the time ended a search, the desk says what to do on its page") {
  const auto plan = asked("plan", {{"files", example_files("job.yaml")}, {"time_limit_s", 0}});
  const std::string said = plan.dump();
  CHECK(said.find("Choose a longer time above the answer.") != std::string::npos);
  CHECK(said.find("--time-limit") == std::string::npos);
}

TEST_CASE("A run sheet says nothing of readings: it is to be written into") {
  for (const char* job : {"job.yaml", "first-visit.yaml"}) {
    const auto page = asked("sheet", {{"files", example_files(job)}})["page"].get<std::string>();
    CHECK_MESSAGE(page.find("o reading yet") == std::string::npos, job);
    CHECK_MESSAGE(page.find("write into it") != std::string::npos, job);
  }
}

TEST_CASE("A table is written as it is read") {
  const DeskDocument rows = {
      {"run", "speed", "sensor", "amplitude", "phase", "component", "note"},
      {"as found", "80 %", "front", "0.312 in/s peak", "21 deg", "once-per-rev", "gusts, \"strong\""}};
  const auto text = asked("table of rows", {{"rows", rows}})["text"];
  const auto readings = asked(
      "readings of table",
      {{"name", "t.csv"},
       {"files", {{"t.csv", text}, {"rotor.yaml", project_text("configs/larkmere-fan.yaml")}}}})["readings"];
  REQUIRE(readings.size() == 1);
  CHECK(readings[0]["amplitude"] == "0.312 in/s peak");
  CHECK(readings[0]["note"] == "gusts, \"strong\"");
}

TEST_CASE("A rehearsal runs from its files alone, and the same run is never another") {
  const auto begun = asked("rehearse new", {{"seed", 7}})["files"];
  REQUIRE(begun.contains("rotor.yaml"));
  const auto first = asked("rehearse run", {{"files", begun}, {"name", "as found"}})["files"];
  REQUIRE(first.contains("as-found.csv"));
  CHECK(first == asked("rehearse run", {{"files", begun}, {"name", "as found"}})["files"]);
  CHECK(asked("rehearse truth", {{"files", first}}).contains("text"));
}

TEST_CASE("Whatever is asked, the answer is JSON with an error that says what") {
  const ScratchFolder scratch;
  for (const char* request :
       {"", "[]", "{}", R"({"do": "nothing of the kind"})", R"({"do": "plan"})", R"({"do": "file of tree"})",
        R"({"do": "plan", "files": {"../job.yaml": "x"}})", R"({"do": "plan", "files": {"job.yaml": 3}})"}) {
    const auto answer = DeskDocument::parse(desk_answer(scratch.path("desk"), request));
    CHECK_MESSAGE(answer.contains("error"), request);
    CHECK_MESSAGE(!answer["error"]["message"].get<std::string>().empty(), request);
  }
}

TEST_CASE("Where only trial runs were made, the check run is what is missing") {
  const auto error = asked("check", {{"files", example_files("job.yaml")}})["error"];
  CHECK(error["missing"] == "check run");
}
