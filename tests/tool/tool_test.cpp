// The program as a person runs it: words, JSON, exit status.
#include <filesystem>
#include <sstream>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "core/charset.h"
#include "support/survey.h"
#include "tool/program.h"

namespace platter::test {
namespace {

using Json = nlohmann::json;

TEST_CASE("a good image exits 0, a cut one 1, and both say so in words") {
  const RunResult good = platter("inspect " + disc());
  CHECK(good.status == 0);
  CHECK(good.err.empty());
  CHECK(good.out.find("ISO 9660") != std::string::npos);
  CHECK(good.out.find("Whole") != std::string::npos);

  const RunResult cut = platter("inspect " + cut_disc());
  CHECK(cut.status == 1);
  CHECK(flowing(cut.out).find("past the end of the image") != std::string::npos);
  CHECK(cut.out.find("What to do") != std::string::npos);
}

TEST_CASE("inspect --json gives the contract's keys") {
  const RunResult result = platter("inspect --json " + disk());
  REQUIRE(result.status == 0);
  const Json survey = Json::parse(result.out);
  CHECK(survey.at("schema") == "platter.survey/1");
  CHECK(survey.at("image").at("bytes") == std::filesystem::file_size(disk()));
  CHECK(survey.at("image").at("container").empty());
  CHECK(survey.at("boot").is_array());
  const Json& label = survey.at("layers").at(0);
  CHECK(label.at("id") == "sun");
  CHECK(label.at("kind") == "label");
  CHECK(label.at("facts").at("checksum") == "good");
  CHECK(label.at("facts").at("byte_order") == "big");
  const Json& slice = label.at("layers").at(0);
  CHECK(slice.at("id") == "sun/a");
  CHECK(slice.at("kind") == "slice");
  CHECK(slice.at("layers").at(0).at("id") == "sun/a/ffs");
  CHECK(slice.at("layers").at(0).at("facts").at("block_bytes").is_number());
}

TEST_CASE("several images give one array, in order") {
  const RunResult result = platter("inspect --json " + disc() + " " + cut_disc());
  CHECK(result.status == 1);
  const Json surveys = Json::parse(result.out);
  REQUIRE(surveys.is_array());
  CHECK(surveys.at(0).at("image").at("path") == disc());
  CHECK(surveys.at(1).at("findings").at(0).at("code") == "image-short");
}

TEST_CASE("an image is read through standard input, compression and archives alike") {
  const Json direct = Json::parse(platter("inspect --json " + disc()).out);
  const Json piped =
      Json::parse(run("cat " + disc() + " | " + PLATTER_PROGRAM + " inspect --json -").out);
  CHECK(direct.at("layers") == piped.at("layers"));
  const Json redirected =
      Json::parse(run(std::string(PLATTER_PROGRAM) + " inspect --json - < " + disc()).out);
  CHECK(direct.at("layers") == redirected.at("layers"));
  const TemporaryDirectory scratch;
  REQUIRE(run("gzip -c " + disc() + " > " + scratch.file("disc.iso.gz")).status == 0);
  const Json packed = Json::parse(platter("inspect --json " + scratch.file("disc.iso.gz")).out);
  CHECK(packed.at("layers") == direct.at("layers"));
  CHECK(packed.at("image").at("container") == Json::array({"gzip"}));
}

TEST_CASE("what is no image is said plainly, with exit status 0") {
  const RunResult result = platter("inspect /bin/sh");
  CHECK(result.status == 0);
  CHECK(result.out.find("No label, filesystem") != std::string::npos);
  CHECK(Json::parse(platter("inspect --json /bin/sh").out).at("layers").empty());
}

TEST_CASE("fit says yes and no, in words, in JSON and by its status") {
  const RunResult yes = platter("fit " + disc() + " --region 0+700MiB");
  CHECK(yes.status == 0);
  CHECK(yes.out.find("It fits") != std::string::npos);
  const RunResult no = platter("fit " + disc() + " --region 2048+8 --json");
  CHECK(no.status == 1);
  const Json fit = Json::parse(no.out);
  CHECK(fit.at("schema") == "platter.fit/1");
  CHECK(fit.at("fits") == false);
  CHECK(fit.at("region").at("start") == 2048 * 512);
  CHECK(fit.at("region").at("bytes") == 8 * 512);
  CHECK(fit.at("spare_bytes") ==
        4096 - static_cast<std::int64_t>(std::filesystem::file_size(disc())));
  CHECK(fit.at("findings").at(0).at("code") == "region-too-small");
}

TEST_CASE("fit takes a region of a plan file by its name") {
  const TemporaryDirectory scratch;
  write_text(scratch.file("card.toml"),
             "[card]\nsize = \"100 MiB\"\n"
             "[[region]]\nname = \"small\"\ndevice = \"optical\"\nsize = \"1 MiB\"\n"
             "[[region]]\nname = \"install disc\"\ndevice = \"optical\"\nsize = \"50 MiB\"\n");
  const std::string plan = " --plan " + scratch.file("card.toml") + " --region ";
  const RunResult yes = platter("fit --json " + disc() + plan + "'install disc'");
  CHECK(yes.status == 0);
  CHECK(Json::parse(yes.out).at("region").at("start") == 1 << 20);  // aligned behind the first
  CHECK(Json::parse(yes.out).at("region").at("bytes") == 50 << 20);
  CHECK(platter("fit " + disc() + plan + "small").status == 1);
  CHECK(platter("fit " + disc() + plan + "nowhere").status == 2);
  write_text(scratch.file("card.toml"), "[card]\nsise = 5\n");
  const RunResult wrong = platter("fit " + disc() + plan + "small");
  CHECK(wrong.status == 2);
  CHECK(wrong.err.find("card.toml:2:") != std::string::npos);
}

TEST_CASE("wrong command lines exit 2 and name what is wrong") {
  CHECK(platter("").status == 2);
  for (const char* line : {"bogus", "inspect", "inspect --bogus x", "fit x --region 5",
                           "fit x --region a+b", "fit x --region 1+1XB"}) {
    CAPTURE(line);
    const RunResult result = platter(line);
    CHECK(result.status == 2);
    CHECK(result.out.empty());
    CHECK(result.err.rfind("platter: ", 0) == 0);
  }
  CHECK(platter("fit x --region a+b").err.find("--region") != std::string::npos);
}

TEST_CASE("what cannot be read exits 3 and names the path") {
  for (const char* command : {"inspect ", "fit --region 0+1 "}) {
    const RunResult result = platter(std::string(command) + "/no/such/file");
    CHECK(result.status == 3);
    CHECK(result.err.find("/no/such/file") != std::string::npos);
  }
  CHECK(platter("inspect " + disc() + " > /dev/full").status == 3);
}

TEST_CASE("every command has help with an example") {
  const RunResult overview = platter("--help");
  CHECK(overview.status == 0);
  for (const char* command : {"inspect", "fit"}) {
    const RunResult help = platter(std::string(command) + " --help");
    CHECK(help.status == 0);
    CHECK(help.out.find("Example") != std::string::npos);
    CHECK(overview.out.find(command) != std::string::npos);
  }
  CHECK(platter("--version").out.rfind("platter ", 0) == 0);
}

TEST_CASE("lines keep to 80 columns and pipes get no colour") {
  for (const std::string& image : {disc(), cut_disc(), disk()}) {
    std::istringstream lines(platter("inspect " + image).out);
    std::string line;
    std::getline(lines, line);  // the path as the person gave it
    while (std::getline(lines, line)) {
      CAPTURE(line);
      CHECK(columns_of(line) <= 80);
      CHECK(line.find('\x1B') == std::string::npos);
    }
  }
}

TEST_CASE("the demo says that its scenario is invented") {
  const Json survey = Json::parse(platter("inspect --json " + disc()).out);
  const std::string text = survey.at("layers").at(0).at("facts").dump();
  CHECK(text.find("INVENTED") != std::string::npos);
}

}  // namespace
}  // namespace platter::test
